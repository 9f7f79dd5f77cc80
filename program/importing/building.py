"""A building from one workbook: each sheet read alone, then checked against the others."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import time
from typing import Any

from program.importing import building_sheets as sheets
from program.importing.building_columns import SHEETS
from program.importing.building_facts import BuildingFile, Meal, Period, PersonRow, ShiftRow, StationRow
from program.importing.building_sheets import SheetJudge
from program.importing.refusals import RowRefusal
from program.importing.tables import Table

Numbered = list[tuple[int, Any]]


@dataclass(frozen=True, slots=True)
class JudgedBuilding:
    """Either a building, or at least one refusal by sheet and line."""

    building: BuildingFile | None
    refusals: tuple[RowRefusal, ...]


def judge_building(tables: Sequence[Table]) -> JudgedBuilding:
    """Judge all sheets of one workbook, as read by `read_sheets`."""
    ours = {name.casefold(): name for name in SHEETS}
    by_name: dict[str, Table] = {}
    refusals: list[RowRefusal] = []
    for table in tables:
        name = ours.get(table.sheet.casefold())
        if name is None:
            refusals.append(RowRefusal(0, "", "This sheet is not known. Remove or rename it.", table.sheet))
        else:
            by_name[name] = replace(table, sheet=name)
    for name in SHEETS:
        if name not in by_name:
            refusals.append(RowRefusal(0, "", "This sheet is missing. Add it, with its columns.", name))
    if refusals:
        return JudgedBuilding(None, tuple(refusals))
    return _judge({name: SheetJudge(by_name[name]) for name in SHEETS})


def _judge(judges: dict[str, SheetJudge]) -> JudgedBuilding:
    settings = sheets.settings(judges["Building"])
    units = list(judges["Units"].rows(sheets.units))
    hours = list(judges["Opening hours"].rows(sheets.opening_hours))
    meals = list(judges["Meals"].rows(sheets.meals))
    stations = list(judges["Stations"].rows(sheets.stations))
    people = list(judges["People"].rows(sheets.people))
    shifts = list(judges["Shifts"].rows(sheets.shifts))
    _refuse_repeats(judges["Units"], "unit", units, str.casefold)
    _refuse_repeats(judges["Stations"], "name", stations, _station_key)
    _refuse_repeats(judges["People"], "email", people, _email)
    _refuse_overlaps(judges["Opening hours"], "opens", hours, _weekdays_of_period)
    _refuse_unknown_units(judges["Meals"], meals, units)
    _refuse_overlaps(judges["Meals"], "starts", meals, _weekdays_of_meal)
    shifts = _with_people(judges["Shifts"], shifts, people)
    _refuse_overlaps(judges["Shifts"], "starts", shifts, _weekdays_of_shift)
    for name in ("Units", "Opening hours", "Stations"):
        _refuse_emptiness(judges[name])
    refusals = tuple(refusal for judge in judges.values() for refusal in judge.refusals)
    if refusals or settings is None:
        return JudgedBuilding(None, refusals)
    numbered = (units, hours, meals, stations, people, shifts)
    return JudgedBuilding(BuildingFile(settings, *(_without_lines(rows) for rows in numbered)), ())


def _without_lines(numbered: Numbered) -> tuple[Any, ...]:
    return tuple(row for _, row in numbered)


def _refuse_emptiness(judge: SheetJudge) -> None:
    if judge.is_empty:
        judge.refuse(0, "", "This sheet has no lines. Add at least one.")


def _refuse_repeats(judge: SheetJudge, field: str, numbered: Numbered, key: Callable[[Any], Any]) -> None:
    lines: dict[Any, int] = {}
    for line, row in numbered:
        if key(row) in lines:
            judge.refuse(line, field, f"This is already on line {lines[key(row)]}. Remove one of the two.")
        lines.setdefault(key(row), line)


def _station_key(station: StationRow) -> tuple[str, str]:
    return station.name.casefold(), station.exercise.casefold()


def _email(person: PersonRow) -> str:
    return person.email


def _weekdays_of_period(period: Period) -> Iterable[tuple[Any, time, time]]:
    return [(period.weekday, period.starts, period.ends)]


def _weekdays_of_meal(meal: Meal) -> Iterable[tuple[Any, time, time]]:
    weekdays = range(1, 8) if meal.weekday is None else [meal.weekday]
    return [((meal.unit, weekday), meal.starts, meal.ends) for weekday in weekdays]


def _weekdays_of_shift(shift: ShiftRow) -> Iterable[tuple[Any, time, time]]:
    return [((shift.email, shift.weekday), shift.starts, shift.ends)]


def _refuse_overlaps(
    judge: SheetJudge, field: str, numbered: Numbered, spans: Callable[[Any], Iterable[tuple[Any, time, time]]]
) -> None:
    by_owner: dict[Any, list[tuple[time, time, int]]] = {}
    for line, row in numbered:
        for owner, starts, ends in spans(row):
            by_owner.setdefault(owner, []).append((starts, ends, line))
    clashes = {clash for rows in by_owner.values() for clash in _clashes(rows)}
    for later_line, line in sorted(clashes):
        if later_line != line:
            judge.refuse(later_line, field, f"This overlaps with line {line}. Correct or remove one of the two.")


def _clashes(rows: list[tuple[time, time, int]]) -> Iterator[tuple[int, int]]:
    """Pairs of lines, the later one first, of which the spans overlap; every line in an overlap is in a pair."""
    rows.sort()
    _, latest_end, latest_line = rows[0]
    for starts, ends, line in rows[1:]:
        if starts < latest_end:
            yield max(line, latest_line), min(line, latest_line)
        if ends > latest_end:
            latest_end, latest_line = ends, line


def _refuse_unknown_units(judge: SheetJudge, meals: Numbered, units: Numbered) -> None:
    known = {unit.casefold() for _, unit in units}
    for line, meal in meals:
        if meal.unit and meal.unit.casefold() not in known:
            judge.refuse(line, "unit", f"The sheet Units has no “{meal.unit}”. Add it there, or correct this.")


def _with_people(judge: SheetJudge, shifts: Numbered, people: Numbered) -> Numbered:
    """The same shifts with the e-mail of each person, whichever of name and e-mail was written."""
    emails: dict[str, set[str]] = {}
    for _, person in people:
        emails.setdefault(person.email, set()).add(person.email)
        emails.setdefault(person.name.casefold(), set()).add(person.email)
    known: list[tuple[int, ShiftRow]] = []
    for line, shift in shifts:
        fitting = emails.get(shift.email.casefold(), set())
        if len(fitting) == 1:
            known.append((line, replace(shift, email=min(fitting))))
        elif fitting:
            judge.refuse(line, "person", f"Several people are called “{shift.email}”. Write the e-mail instead.")
        else:
            judge.refuse(line, "person", f"The sheet People has no “{shift.email}”. Add them there, or correct this.")
    return known
