"""Every start on the grid for one resident, and which fact, if any, forbids it before anybody else is placed."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduling.problem import Problem, Resident
from scheduling.solver.board import Board, Needs, needs_of
from scheduling.solver.layout import MICROSECOND, Layout, to_microseconds
from scheduling.solver.stationing import TooManyOrders

Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]
MONTH_AFTER_ALL = 1 << 60


@dataclass(slots=True)
class Starts:
    """One entry a start, in order of time. `ends` is the soonest end, `latest_ends` what calendar and rest allow.

    `left_out`: bits of the resident's needs that a session there goes on without. The flags say what a start
    keeps: the calendar, recovery from sessions outside this roster, those kept apart, help, and stations.
    """

    resident: Resident
    needs: Needs
    at: Numbers
    ends: Numbers
    latest_ends: Numbers
    opening: Numbers
    tick: Numbers
    left_out: Numbers
    keeps_calendar: Flags
    keeps_recovery: Flags
    keeps_apart: Flags
    has_help: Flags
    has_stations: Flags
    is_open: Flags
    first: Numbers
    last: Numbers
    way_first: Numbers
    way_last: Numbers

    @property
    def legal(self) -> Flags:
        return self.keeps_calendar & self.keeps_recovery & self.keeps_apart & self.has_help & self.has_stations

    def stations_at(self, start: int) -> tuple[tuple[int, int], ...]:
        return self.needs.without(int(self.left_out[start]))

    def spot(self, start: int) -> tuple[int, int, int, int]:
        return start, int(self.at[start]), int(self.opening[start]), int(self.tick[start])


def starts_of(layout: Layout, board: Board, resident: Resident) -> Starts:
    needs = needs_of(resident, layout)
    opening, tick, at = _grid(layout)
    left_out, turns = _left_out(layout, resident, needs, at)
    ends = at + turns * layout.turn
    closes = np.array([grid.closes for grid in layout.openings], dtype=np.int64)[opening]
    last_in_calendar = _last_in_calendar(resident, at, ends, closes)
    last_in_recovery = _last_in_recovery(resident, at)
    last_apart = _last_apart(layout.problem, resident, at)
    keeps_calendar = (ends <= last_in_calendar) & (turns > 0)
    # A session that does not fit the day has no pieces of its own; its start stands in for its end.
    end_tick = np.where(ends <= closes, tick + turns, tick)
    starts = Starts(
        resident=resident,
        needs=needs,
        at=at,
        ends=ends,
        latest_ends=np.minimum(np.minimum(last_in_calendar, last_in_recovery), last_apart),
        opening=opening,
        tick=tick,
        left_out=left_out,
        keeps_calendar=keeps_calendar,
        keeps_recovery=ends <= last_in_recovery,
        keeps_apart=ends <= last_apart,
        has_help=np.ones(len(at), dtype=np.bool_),
        has_stations=turns > 0,
        is_open=(turns > 0) | (ends > closes),
        first=_pieces(layout, opening, tick),
        last=_pieces(layout, opening, end_tick),
        way_first=_pieces(layout, opening, tick - needs.way_turns),
        way_last=_pieces(layout, opening, end_tick + needs.way_turns),
    )
    starts.has_help = help_is_there(board, starts)
    _judge_stations(layout, board, starts)
    return starts


def help_is_there(board: Board, starts: Starts) -> Flags:
    """Whether the help on the board is enough for each start, on the way and at the stations."""
    needs = starts.needs
    here = _short(board, needs.sixths)
    enough: Flags = here[starts.last] == here[starts.first]
    if needs.way_turns:
        way = _short(board, needs.way_sixths)
        enough &= (way[starts.first] == way[starts.way_first]) & (way[starts.way_last] == way[starts.last])
    return enough


def stations_may_be_there(board: Board, starts: Starts) -> Flags:
    """False where no order of the stations can fit: one of them never free, or a moment with none of them free."""
    may: Flags = np.ones(len(starts.at), dtype=np.bool_)
    if board.layout.problem.max_wait_turns:
        return may
    length = starts.last - starts.first
    rows = board.taken[[station for station, _ in starts.needs.stations]]
    none_free = _counted(np.all(rows, axis=0))
    may &= none_free[starts.last] == none_free[starts.first]
    for place, row in enumerate(rows):
        taken = _counted(row)
        may &= ((taken[starts.last] - taken[starts.first]) < length) | (starts.left_out >> place & 1 == 1)
    return may


def _counted(row: Any) -> Numbers:
    counted = np.zeros(len(row) + 1, dtype=np.int64)
    np.cumsum(row, out=counted[1:])
    return counted


def _short(board: Board, sixths: int) -> Numbers:
    return _counted(board.free_help < sixths)


def _grid(layout: Layout) -> tuple[Numbers, Numbers, Numbers]:
    opening = np.concatenate(
        [np.full(grid.ticks, place, dtype=np.int64) for place, grid in enumerate(layout.openings)]
        or [np.zeros(0, dtype=np.int64)]
    )
    tick = np.concatenate(
        [np.arange(grid.ticks, dtype=np.int64) for grid in layout.openings] or [np.zeros(0, dtype=np.int64)]
    )
    opens = np.array([grid.opens for grid in layout.openings], dtype=np.int64)
    at = opens[opening] + tick * layout.turn if len(opening) else np.zeros(0, dtype=np.int64)
    order = np.argsort(at, kind="stable")
    return opening[order], tick[order], at[order]


def _pieces(layout: Layout, opening: Numbers, tick: Numbers) -> Numbers:
    pieces = np.zeros(len(opening), dtype=np.int64)
    for place, grid in enumerate(layout.openings):
        here = opening == place
        pieces[here] = np.array(grid.piece_at, dtype=np.int64)[tick[here] + grid.before]
    return pieces


def _left_out(layout: Layout, resident: Resident, needs: Needs, at: Numbers) -> tuple[Numbers, Numbers]:
    left_out = np.zeros(len(at), dtype=np.int64)
    turns = np.full(len(at), needs.turns, dtype=np.int64)
    if not resident.skips_closed_stations:
        return left_out, turns
    whole_ends = at + needs.turns * layout.turn
    for place, (station, length) in enumerate(needs.stations):
        closed = np.zeros(len(at), dtype=np.bool_)
        for span in layout.problem.stations[station].closed:
            start, end = to_microseconds(span.start), to_microseconds(span.end)
            if start < end:
                closed |= (start < whole_ends) & (at < end)
        left_out[closed] |= 1 << place
        turns[closed] -= length
    return left_out, turns


def _last_in_calendar(resident: Resident, at: Numbers, ends: Numbers, closes: Numbers) -> Numbers:
    latest = np.full(len(at), -MONTH_AFTER_ALL, dtype=np.int64)
    for span in resident.available:
        start, end = to_microseconds(span.start), to_microseconds(span.end)
        inside = (start <= at) & (ends <= end)
        latest[inside] = np.maximum(latest[inside], end)
    return np.minimum(latest, closes)


def _last_in_recovery(resident: Resident, at: Numbers) -> Numbers:
    """The last end that keeps every session outside this roster; in the far past where none does."""
    recovery = resident.recovery // MICROSECOND
    latest = np.full(len(at), MONTH_AFTER_ALL, dtype=np.int64)
    if resident.next_session_at is not None:
        latest = np.minimum(latest, to_microseconds(resident.next_session_at) - recovery)
    too_early = np.zeros(len(at), dtype=np.bool_)
    if resident.recovered_at is not None:
        too_early |= at < to_microseconds(resident.recovered_at)
    for fixed in resident.fixed:
        start, end = to_microseconds(fixed.start), to_microseconds(fixed.end)
        after = at >= end + recovery
        latest = np.where(after, latest, np.minimum(latest, start - recovery))
    latest[too_early] = -MONTH_AFTER_ALL
    return latest


def _last_apart(problem: Problem, resident: Resident, at: Numbers) -> Numbers:
    latest = np.full(len(at), MONTH_AFTER_ALL, dtype=np.int64)
    others = {one if other == resident.id else other for one, other in problem.apart if resident.id in (one, other)}
    for other in problem.residents:
        for fixed in other.fixed if other.id in others else ():
            before = at < to_microseconds(fixed.end)
            latest[before] = np.minimum(latest[before], to_microseconds(fixed.start))
    return latest


def _judge_stations(layout: Layout, board: Board, starts: Starts) -> None:
    """Searches an order only where something is taken or closed in reach of the session."""
    rows = board.taken[[station for station, _ in starts.needs.stations]]
    busy = _counted(np.any(rows, axis=0))
    touched = busy[starts.last] != busy[starts.first]
    wanted = np.flatnonzero(touched & starts.keeps_calendar & starts.keeps_recovery & starts.keeps_apart)
    empty = Board(layout, without_fixed=True)
    for start in wanted.tolist():
        stations = starts.stations_at(start)
        opening, tick, latest = int(starts.opening[start]), int(starts.tick[start]), int(starts.latest_ends[start])
        starts.has_stations[start] = _finds(board, starts.needs, stations, opening, tick, latest)
        if not starts.has_stations[start]:
            starts.is_open[start] = _finds(empty, starts.needs, stations, opening, tick, latest)


def _finds(
    board: Board, needs: Needs, stations: tuple[tuple[int, int], ...], opening: int, tick: int, latest: int
) -> bool:
    try:
        return board.fits(needs, stations, opening, tick, latest, ignore_help=True) is not None
    except TooManyOrders:
        return True
