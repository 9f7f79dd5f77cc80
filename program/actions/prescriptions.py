"""Exercise plans: every change is a new version, and nothing of an old one ever changes."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from program import clock
from program.actions.changing import as_refusal, judged
from program.actions.locks import lock_persons
from program.actions.refusing import refusing_what_the_database_refuses
from program.models import Prescription, PrescriptionLine, Resident, Station, User
from program.rules.errors import Invalid, Stale
from program.rules.units import is_whole_multiple, kilograms

MOST_LINES = 12
REFERENCES = ("building", "prescription", "station")


@dataclass(frozen=True, slots=True)
class LineInput:
    """What is done at one station: load in the station's own unit, seconds a set; no exercise means its usual one."""

    station: Station
    load: Decimal
    load_unit: str
    exercise: str = ""
    repetitions_least: int = 8
    repetitions_most: int = 10
    pace: str = "3 out, pause, 5 back"
    seconds_least: int = 60
    seconds_most: int = 90
    turns: int = 1
    range_limits: str = ""
    settings: str = ""


@transaction.atomic
def prescribe(
    *,
    resident: Resident,
    sessions_a_week: int,
    lines: Sequence[LineInput],
    by: User,
    expected_number: int | None = None,
) -> Prescription:
    """A new version of the plan; `expected_number` is the one that the person saw (0: none), Stale if it moved on."""
    lock_persons(person_ids=[resident.person_id])
    newest = Prescription.objects.in_force().filter(resident=resident).first()
    number = newest.number if newest else 0
    if expected_number is not None and expected_number != number:
        raise Stale(
            "Somebody else has just changed this exercise plan. Look at the new one, then change it again.",
            current_version=number,
        )
    refuse_lines(lines, resident=resident)
    plan = Prescription(
        building=resident.building,
        resident=resident,
        number=number + 1,
        sessions_a_week=sessions_a_week,
        entered_by=by,
        entered_at=clock.now(),
    )
    with refusing_what_the_database_refuses(clash="stale-version"):
        judged(plan).save(force_insert=True)
        PrescriptionLine.objects.bulk_create([_fitting(line) for line in plan_lines(plan, lines)])
    return plan


def _fitting(line: PrescriptionLine) -> PrescriptionLine:
    """The line, if every value fits its column; the database judges the rest, once for all lines of a plan."""
    try:
        line.clean_fields(exclude=REFERENCES)
    except ValidationError as error:
        raise as_refusal(error) from None
    return line


def plan_lines(plan: Prescription, lines: Sequence[LineInput]) -> list[PrescriptionLine]:
    """The rows of a plan, in the order given; the load also exactly in kilograms."""
    return [
        PrescriptionLine(
            building_id=plan.building_id,
            prescription=plan,
            position=position,
            load_kg=kilograms(line.load, line.load_unit),
            **_as_entered(line),
        )
        for position, line in enumerate(lines)
    ]


def refuse_lines(lines: Sequence[LineInput], *, resident: Resident) -> None:
    """Invalid with the first thing that cannot be done on this building's circuit."""
    if not 1 <= len(lines) <= MOST_LINES:
        raise Invalid(f"An exercise plan has from 1 to {MOST_LINES} lines.", field="lines")
    seen: set[int] = set()
    for line in lines:
        if line.station.building_id != resident.building_id:
            raise Invalid(f"{resident.building.name} has no such station. Choose one of its own.", field="station")
        if line.station.pk in seen:
            raise Invalid(f"{line.station.name} is in this plan twice. Keep one of the two.", field="station")
        seen.add(line.station.pk)
        sentence = refusal_of_load(line.station, load=line.load, load_unit=line.load_unit)
        if sentence:
            raise Invalid(sentence, field="load")


def refusal_of_load(station: Station, *, load: Decimal, load_unit: str) -> str:
    """Why this load cannot be set at this station; empty if it can."""
    if station.retired_at is not None:
        return f"{station.name} is no longer part of the circuit. Choose another station."
    if load_unit != station.load_unit:
        return f"{station.name} is loaded in {station.load_unit}, not in {load_unit}. Correct load and unit."
    if not is_whole_multiple(load, station.load_step):
        step = f"{station.load_step.normalize():f} {station.load_unit}"
        return f"{station.name} goes in steps of {step}; {load} cannot be set there."
    heaviest = station.heaviest
    if load < station.lightest or (heaviest is not None and load > heaviest):
        most = "" if heaviest is None else f" to {heaviest.normalize():f}"
        return f"{station.name} goes from {station.lightest.normalize():f}{most} {station.load_unit}, not to {load}."
    return ""


def _as_entered(line: LineInput) -> dict[str, object]:
    # asdict would copy the station.
    fields = {name: getattr(line, name) for name in LineInput.__dataclass_fields__}
    return fields | {"exercise": line.exercise or line.station.exercise}
