"""A line of a residents' file in the words of the tables: as JSON, and only what the file really says."""

from collections.abc import Mapping
from typing import Any

from program.importing.cells import by_column, column_name
from program.importing.exercise_lines import PlanLine
from program.importing.resident_columns import ESCORTS, all_names
from program.importing.residents import ResidentRow
from program.importing.tables import Table
from program.models import Building
from program.rules.week import local_instant

# Their columns may be emptied; an empty cell of any other says nothing.
MAY_BE_EMPTIED = {"room": "room", "bed": "bed", "helper_notes": "helper_notes", "preferred_half": "preferred"}
NEEDS_A_CELL = {
    "recovery_hours": "recovery_hours",
    "sessions_before": "sessions_so_far",
    "last_session_ended_at": "last_session_ended_at",
    "enrolled_at": "in_programme_from",
}
DEFAULT_PACE = "3 out, pause, 5 back"
SHORTEST_SET = 60


def written_cells(table: Table) -> dict[int, dict[str, str]]:
    """For each line its cells under our own names of the columns that the file has."""
    ours = {column_name(name): name for name in all_names()}
    header = tuple(ours.get(column_name(name), "") for name in table.header)
    return {row.line: dict(by_column(header, row.cells)) for row in table.rows}


def values_of(row: ResidentRow, cells: Mapping[str, str], building: Building) -> dict[str, Any]:
    """`resident`, `agreement`, `clearance` and `plan`, each without what the file leaves open."""
    agreement, clearance = row.agreement, row.clearance
    return {
        "resident": _resident(row, cells, building),
        "agreement": agreement
        and {
            "agreed_on": agreement.agreed_on.isoformat(),
            "agreed_by": agreement.agreed_by,
            "agreement_authority": agreement.authority,
        },
        "clearance": clearance
        and {
            "given_by": clearance.cleared_by,
            "credential": clearance.credential,
            "given_on": clearance.cleared_on.isoformat(),
            "until_on": clearance.cleared_until.isoformat(),
            "limits": clearance.limits,
        },
        "plan": {"sessions_a_week": row.sessions_a_week, "lines": [_line(line) for line in row.plan]},
    }


def _resident(row: ResidentRow, cells: Mapping[str, str], building: Building) -> dict[str, Any]:
    ended_at, from_on = row.last_session_ended_at, row.in_programme_from
    values: dict[str, Any] = {
        "given_name": row.given_name,
        "family_name": row.family_name,
        "date_of_birth": row.date_of_birth.isoformat(),
        "unit": row.unit,
        "help_sixths": row.help_sixths,
        "room": row.room,
        "bed": row.bed,
        "helper_notes": list(row.helper_notes),
        "preferred_half": row.preferred,
        "recovery_hours": f"{row.recovery_hours.normalize():f}",
        "sessions_before": row.sessions_so_far,
        "last_session_ended_at": ended_at and ended_at.isoformat(),
        "enrolled_at": from_on and local_instant(from_on, 0, building.zone).isoformat(),
    }
    if "escort" in cells:
        values |= {"escort_people": ESCORTS.index(row.escort), "escort_minutes": row.escort_minutes}
    for name, column in MAY_BE_EMPTIED.items():
        if column not in cells:
            del values[name]
    for name, column in NEEDS_A_CELL.items():
        if not cells.get(column):
            del values[name]
    return values


def _line(line: PlanLine) -> dict[str, Any]:
    seconds = line.seconds
    return {
        "station": line.station,
        "exercise": line.exercise,
        "load": f"{line.load.normalize():f}",
        "load_unit": line.unit,
        "repetitions_least": line.repetitions[0],
        "repetitions_most": line.repetitions[1],
        "pace": line.pace or DEFAULT_PACE,
        # One number is the longest that a set may take.
        "seconds_least": min(seconds or SHORTEST_SET, SHORTEST_SET),
        "seconds_most": seconds or 90,
        "turns": line.turns,
        "range_limits": line.range_limits,
        "settings": ", ".join(f"{name} {word}" for name, word in (("seat", line.seat), ("pad", line.pad)) if word),
    }
