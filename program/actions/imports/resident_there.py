"""What is there of the residents whom a file names, read at once and worded like the file's values."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from program.models import Building, Clearance, Prescription, PrescriptionLine, Resident, Station, Unit

LINE_FIELDS = (
    *("exercise", "load_unit", "repetitions_least", "repetitions_most", "pace", "seconds_least", "seconds_most"),
    *("turns", "range_limits", "settings"),
)


@dataclass(frozen=True, slots=True)
class There:
    """Residents by key, what they have by their id; units and stations by name."""

    building: Building
    residents: dict[str, Resident]
    plans: dict[int, Prescription]
    clearances: dict[tuple[int, str, str, str], Clearance]
    units: dict[str, Unit]
    stations: dict[str, Station]


def look_up(building: Building, keys: set[str]) -> There:
    residents = Resident.objects.of(building).filter(key__in=keys).select_related("unit")
    by_key = {resident.key: resident for resident in residents}
    plans = Prescription.objects.of(building).in_force().filter(resident__in=by_key.values())
    clearances = Clearance.objects.of(building).filter(resident__in=by_key.values()).order_by("entered_at", "pk")
    stations = Station.objects.of(building).filter(retired_at__isnull=True)
    return There(
        building=building,
        residents=by_key,
        plans={plan.resident_id: plan for plan in plans.prefetch_related("lines__station")},
        # Where one was withdrawn and entered again, the newest.
        clearances={
            (row.resident_id, row.given_by, row.given_on.isoformat(), row.until_on.isoformat()): row
            for row in clearances
        },
        units={unit.name.casefold(): unit for unit in Unit.objects.of(building)},
        stations={station.name.casefold(): station for station in stations},
    )


def resident_values(resident: Resident) -> dict[str, Any]:
    ended_at, enrolled_at = resident.last_session_ended_at, resident.enrolled_at
    return {
        "given_name": resident.given_name,
        "family_name": resident.family_name,
        "date_of_birth": resident.date_of_birth.isoformat(),
        "unit": resident.unit.name,
        "help_sixths": resident.help_sixths,
        "room": resident.room,
        "bed": resident.bed,
        "helper_notes": list(resident.helper_notes),
        "preferred_half": resident.preferred_half,
        "recovery_hours": plain(resident.recovery_hours),
        "sessions_before": resident.sessions_before,
        "last_session_ended_at": ended_at and ended_at.isoformat(),
        "enrolled_at": enrolled_at and enrolled_at.isoformat(),
        "escort_people": resident.escort_people,
        "escort_minutes": resident.escort_minutes,
    }


def agreement_values(resident: Resident) -> dict[str, Any]:
    return {
        "agreed_on": resident.agreed_on and resident.agreed_on.isoformat(),
        "agreed_by": resident.agreed_by,
        "agreement_authority": resident.agreement_authority,
    }


def line_values(line: PrescriptionLine) -> dict[str, Any]:
    return {"station": line.station.name, "load": plain(line.load)} | {
        name: getattr(line, name) for name in LINE_FIELDS
    }


def in_words(line: dict[str, Any]) -> str:
    """`65 lb, 8-10, 60-90 s, 3 out, pause, 5 back, seat 2`."""
    words = [
        f"{line['load']} {line['load_unit']}",
        f"{line['repetitions_least']}-{line['repetitions_most']}",
        f"{line['seconds_least']}-{line['seconds_most']} s",
        *(line[name] for name in ("pace", "settings", "range_limits") if line[name]),
    ]
    if line["turns"] > 1:
        words.append(f"{line['turns']} turns")
    return ", ".join(words)


def plain(number: Decimal) -> str:
    return f"{number.normalize():f}"
