"""The building's week laid out for counting: pieces of time between which nothing changes, and what is free in each."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduling.problem import FixedSession, Problem, Resident

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)


def to_microseconds(instant: datetime) -> int:
    return (instant - EPOCH) // MICROSECOND


def to_instant(microseconds: int) -> datetime:
    return EPOCH + microseconds * MICROSECOND


@dataclass(frozen=True, slots=True)
class Opening:
    """One entry of the problem's days; `piece_at` gives the piece in which tick k - `before` begins."""

    opens: int
    closes: int
    ticks: int
    before: int
    piece_at: tuple[int, ...]

    def piece(self, tick: int) -> int:
        return self.piece_at[tick + self.before]


@dataclass(slots=True)
class Layout:
    """Times in microseconds since 1970; piece i runs from points[i] to points[i + 1].

    `free_help`: sixths left beside the fixed sessions, by piece (below 0 where those need more than is there).
    `taken`, `closed`: stations × pieces, held by a fixed session or closed; closed alone.
    """

    problem: Problem
    turn: int
    points: NDArray[np.int64]
    openings: tuple[Opening, ...]
    station_places: dict[str, int]
    free_help: NDArray[np.int64]
    taken: NDArray[np.bool_]
    closed: NDArray[np.bool_]
    piece_of: dict[int, int] = field(repr=False)

    def cut(self, start: int, end: int) -> slice:
        return slice(self.piece_of[start], self.piece_of[end])


def fixed_stretches(problem: Problem, resident: Resident, session: FixedSession) -> list[tuple[int, int, int]]:
    """Start, end and sixths of each stretch in which a fixed session needs help."""
    start, end = to_microseconds(session.start), to_microseconds(session.end)
    stretches = [(start, end, resident.supervision)]
    if resident.escort is not None:
        way = resident.escort.turns * (problem.turn // MICROSECOND)
        stretches += [(start - way, start, resident.escort.supervision), (end, end + way, resident.escort.supervision)]
    return stretches


# An opening's first and last instant, its whole turns, and every instant of its grid, those on the way included.
Grid = tuple[int, int, int, list[int]]


def lay_out(problem: Problem) -> Layout:
    turn = problem.turn // MICROSECOND
    beside = max((resident.escort.turns for resident in problem.residents if resident.escort), default=0)
    grids = _grids(problem, turn, beside)
    help_changes, closures, fixed_slots = _help_changes(problem), _closures(problem), _fixed_slots(problem)
    marks = {at for _, _, _, times in grids for at in times}
    marks.update(at for start, end, _ in help_changes for at in (start, end))
    marks.update(at for _, start, end in (*closures, *fixed_slots) for at in (start, end))
    points = sorted(marks)
    piece_of = {at: piece for piece, at in enumerate(points)}
    layout = Layout(
        problem=problem,
        turn=turn,
        points=np.array(points, dtype=np.int64),
        openings=tuple(
            Opening(opens, closes, ticks, beside, tuple(piece_of[at] for at in times))
            for opens, closes, ticks, times in grids
        ),
        station_places={station.id: place for place, station in enumerate(problem.stations)},
        free_help=np.zeros(len(points), dtype=np.int64),
        taken=np.zeros((len(problem.stations), len(points)), dtype=np.bool_),
        closed=np.zeros((len(problem.stations), len(points)), dtype=np.bool_),
        piece_of=piece_of,
    )
    for start, end, sixths in help_changes:
        layout.free_help[layout.cut(start, end)] += sixths
    for place, start, end in closures:
        layout.closed[place, layout.cut(start, end)] = True
    layout.taken |= layout.closed
    for place, start, end in fixed_slots:
        layout.taken[place, layout.cut(start, end)] = True
    return layout


def _grids(problem: Problem, turn: int, beside: int) -> list[Grid]:
    grids = []
    for day in problem.days:
        opens, closes = to_microseconds(day.opens), to_microseconds(day.closes)
        ticks = max(closes - opens, 0) // turn
        grids.append((opens, closes, ticks, [opens + tick * turn for tick in range(-beside, ticks + beside + 1)]))
    return grids


def _closures(problem: Problem) -> list[tuple[int, int, int]]:
    """The place of a station, and from when until when it is closed."""
    return [
        (place, to_microseconds(span.start), to_microseconds(span.end))
        for place, station in enumerate(problem.stations)
        for span in station.closed
    ]


def _fixed_slots(problem: Problem) -> list[tuple[int, int, int]]:
    """The place of a station, and from when until when a fixed session has it."""
    place_of = {station.id: place for place, station in enumerate(problem.stations)}
    return [
        (place_of[slot.station], to_microseconds(slot.start), to_microseconds(slot.end))
        for resident in problem.residents
        for fixed in resident.fixed
        for slot in fixed.slots
    ]


def _help_changes(problem: Problem) -> list[tuple[int, int, int]]:
    there = [
        (to_microseconds(entry.start), to_microseconds(entry.end), entry.capacity) for entry in problem.supervision
    ]
    needed = [
        (start, end, -sixths)
        for resident in problem.residents
        for fixed in resident.fixed
        for start, end, sixths in fixed_stretches(problem, resident, fixed)
    ]
    return there + needed
