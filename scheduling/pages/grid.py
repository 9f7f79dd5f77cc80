"""The week and the day as a table: times as rows, the stations as columns under each day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from program.models import Building
from scheduling.pages.visits import Visit

# More columns than this under each day are not read side by side: then one day is shown at a time.
MOST_STATIONS_A_DAY = 3


@dataclass(frozen=True, slots=True)
class Cell:
    day: int
    station: str
    is_first: bool
    visit: Visit | None = None
    kind: str = ""
    sign: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    at: str
    follows_a_pause: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """`days` are (weekday number 1 to 7, date); every cell names its day and station for small screens."""

    days: Sequence[tuple[int, date]]
    stations: Sequence[str]
    rows: Sequence[Row]
    shown: int

    @property
    def columns(self) -> list[tuple[int, str, bool]]:
        return [(number, name, place == 0) for number, _ in self.days for place, name in enumerate(self.stations)]


def grid_of(building: Building, days: Sequence[date], stations: Sequence[str], visits: Sequence[Visit]) -> Grid:
    """Rows stand only where somebody comes to a station."""
    places: dict[tuple[time, int, str], Cell] = {}
    for visit in visits:
        for place, stop in enumerate(visit.stops):
            local = stop.starts_at.astimezone(building.zone)
            if local.date() in days:
                spot = (local.time(), local.isoweekday(), stop.station)
                places[spot] = _cell(visit, stop.station, local.isoweekday(), place == 0)
    named = [(number, name) for number in sorted(day.isoweekday() for day in days) for name in stations]
    rows = []
    before: time | None = None
    for at in sorted({spot[0] for spot in places}):
        cells = tuple(
            _placed(places.get((at, number, name)), number, name, name == stations[0]) for number, name in named
        )
        rows.append(Row(f"{at:%H:%M}", _is_pause(before, at, building.turn_minutes), cells))
        before = at
    numbered = [(day.isoweekday(), day) for day in days]
    return Grid(numbered, stations, rows, shown=numbered[0][0] if numbered else 1)


def _is_pause(before: time | None, at: time, turn_minutes: int) -> bool:
    if before is None:
        return False
    anchor = date(2000, 1, 3)
    return datetime.combine(anchor, at) - datetime.combine(anchor, before) > timedelta(minutes=turn_minutes)


def _placed(found: Cell | None, number: int, name: str, is_first: bool) -> Cell:
    if found is None:
        return Cell(number, name, is_first)
    return Cell(number, name, is_first, found.visit, found.kind, found.sign, found.note)


def _cell(visit: Visit, station: str, number: int, is_start: bool) -> Cell:
    kind, sign, note = "", "", visit.mark if is_start else ""
    session = visit.said.session if visit.said else None
    if session is not None and visit.said is not None:
        if session.is_overtaken and visit.said.is_open:
            kind, sign, note = "overtaken", "triangle-alert", "too early"
        elif session.is_locked:
            kind, sign = "locked", "lock"
        elif visit.is_inside_buffer and is_start:
            note = "inside buffer"
        elif not visit.said.is_open:
            kind, note = "past", visit.said.words.lower() if is_start else ""
    return Cell(number, station, False, visit, kind, sign, note)
