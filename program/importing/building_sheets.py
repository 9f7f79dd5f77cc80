"""One function per sheet of a building's workbook: its rows, each judged alone."""

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any, Final
from zoneinfo import available_timezones

from program.importing import cells
from program.importing.building_columns import ROLES, SETTINGS, SHEETS
from program.importing.building_facts import Meal, Period, PersonRow, Settings, ShiftRow, StationRow
from program.importing.judging import RowJudge, header_refusals, row_judge
from program.importing.refusals import RowRefusal, Unfit
from program.importing.tables import Table
from program.rules.units import LOAD_UNITS, is_whole_multiple

_short = partial(cells.text, longest=80)
_load = partial(cells.number, most="1000")


class SheetJudge:
    """The rows of one sheet, each with its line, and what is wrong with the others."""

    def __init__(self, table: Table) -> None:
        names = [column.name for column in SHEETS[table.sheet]]
        required = [column.name for column in SHEETS[table.sheet] if column.is_required]
        self.sheet = table.sheet
        self.refusals: list[RowRefusal] = header_refusals(table, allowed=names, required=required)
        self.is_empty = not table.rows
        self._judges = [] if self.refusals else [row_judge(table, row, names) for row in table.rows]

    def rows(self, reading: Callable[[RowJudge], Any]) -> Iterator[tuple[int, Any]]:
        for judging in self._judges:
            row = reading(judging)
            self.refusals.extend(judging.refusals)
            if not judging.refusals:
                yield judging.line, row

    def refuse(self, line: int, field: str, sentence: str) -> None:
        self.refusals.append(RowRefusal(line, field, sentence, self.sheet))


def _zone(cell: str) -> str:
    if cell not in available_timezones():
        raise Unfit(f"“{cells.text(cell)}” is not an IANA time zone. Write it like America/New_York.")
    return cell


_SETTING_READINGS: Final[Mapping[str, Callable[[str], Any]]] = {
    "name": _short,
    "region": _short,
    "timezone": _zone,
    "turn_minutes": partial(cells.whole, least=1, most=60),
    "rest_after_meal_minutes": partial(cells.whole, least=0, most=240),
    "margin_minutes": partial(cells.whole, least=0, most=120),
    "grace_minutes": partial(cells.whole, least=0, most=240),
    "overdue_hours": partial(cells.whole, least=48, most=720),
    "buffer_turns": partial(cells.whole, least=0, most=10),
    "max_wait_turns": partial(cells.whole, least=0, most=1),
    "skip_closed_stations": cells.yes_or_no,
}


def settings(sheet: SheetJudge) -> Settings | None:
    """The sheet Building: one setting a line; what is left out has its default."""
    ours = {cells.column_name(column.name): column.name for column in SETTINGS}
    found: dict[str, Any] = {}
    for line, (written, value) in sheet.rows(_setting):
        name = ours.get(cells.column_name(written))
        if name is None:
            sheet.refuse(line, written, "This setting is not known. Remove or rename it.")
        elif name in found:
            sheet.refuse(line, name, "This setting is there twice. Remove one.")
        elif value:
            try:
                found[name] = _SETTING_READINGS[name](value)
            except Unfit as unfit:
                sheet.refuse(line, name, unfit.sentence)
    for column in SETTINGS:
        if column.is_required and column.name not in found and not _is_named(sheet, column.name):
            sheet.refuse(0, column.name, "This setting is missing. Add a line for it.")
    return None if sheet.refusals else Settings(**found)


def _setting(judging: RowJudge) -> tuple[str, str]:
    return judging.need("setting", _short) or "", judging.written("value")


def _is_named(sheet: SheetJudge, name: str) -> bool:
    return any(refusal.field == name for refusal in sheet.refusals)


def units(judging: RowJudge) -> str | None:
    return judging.need("unit", _short)


def opening_hours(judging: RowJudge) -> Period | None:
    weekday = judging.need("weekday", cells.weekday)
    opens = judging.need("opens", cells.time_of_day)
    closes = judging.need("closes", cells.time_of_day)
    if weekday is None or opens is None or closes is None:
        return None
    if closes <= opens:
        judging.refuse("closes", "This is not after the opening. Correct one of the two.")
    return Period(weekday, opens, closes)


def meals(judging: RowJudge) -> Meal | None:
    is_daily = judging.written("weekday").casefold() == "daily"
    weekday = None if is_daily else judging.need("weekday", cells.weekday)
    starts = judging.need("starts", cells.time_of_day)
    ends = judging.need("ends", cells.time_of_day)
    unit = judging.read("unit", _short) or ""
    if starts is None or ends is None:
        return None
    minutes = (ends.hour - starts.hour) * 60 + ends.minute - starts.minute
    if not 10 <= minutes <= 240:
        judging.refuse("ends", "A meal takes from 10 minutes to 4 hours. Correct its start or its end.")
    return Meal(weekday, starts, ends, unit)


def stations(judging: RowJudge) -> StationRow | None:
    name, exercise = judging.need("name", _short), judging.need("exercise", _short)
    unit = judging.need("load_unit", partial(cells.one_of, choices=LOAD_UNITS))
    step = judging.need("load_step", partial(cells.number, least="0.001", most="100"))
    lightest, heaviest = judging.need("lightest", _load), judging.need("heaviest", _load)
    if name is None or exercise is None or unit is None or step is None or lightest is None or heaviest is None:
        return None
    if heaviest < lightest:
        judging.refuse("heaviest", "This is less than the lightest load. Correct one of the two.")
    for column, load in (("lightest", lightest), ("heaviest", heaviest)):
        if not is_whole_multiple(load, step):
            judging.refuse(column, f"{load} is not a whole number of steps of {step}. Correct load or step.")
    return StationRow(name, exercise, unit, step, lightest, heaviest)


def people(judging: RowJudge) -> PersonRow | None:
    name = judging.need("name", _short)
    email = judging.need("email", cells.email)
    role = judging.need("role", partial(cells.one_of, choices=ROLES))
    from_on, until_on = judging.read("from", cells.day), judging.read("until", cells.day)
    if name is None or email is None or role is None:
        return None
    if from_on and until_on and until_on < from_on:
        judging.refuse("until", "This is before the first day. Correct one of the two.")
    return PersonRow(name, email, role, from_on, until_on)


def shifts(judging: RowJudge) -> ShiftRow | None:
    """The person is as written; who it is, the workbook's other sheets say."""
    person = judging.need("person", cells.text)
    weekday = judging.need("weekday", cells.weekday)
    starts = judging.need("starts", cells.time_of_day)
    ends = judging.need("ends", cells.time_of_day)
    from_on = judging.read("from", cells.day)
    if person is None or weekday is None or starts is None or ends is None:
        return None
    if ends <= starts:
        judging.refuse("ends", "This is not after the start. Write a shift over midnight as two.")
    return ShiftRow(person, weekday, starts, ends, from_on)
