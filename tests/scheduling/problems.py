"""Roster problems for tests: a plain one to change a fact of, generated ones, and every roster of a tiny one."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import permutations, product

from hypothesis import strategies as st

from scheduling.check import broken_rules, value
from scheduling.problem import (
    Cost,
    CostWindow,
    Day,
    Escort,
    FixedSession,
    PlacedSession,
    Problem,
    Requirement,
    Resident,
    Roster,
    ShortGap,
    Slot,
    Span,
    Station,
    Supervision,
    Together,
)

EIGHT = datetime(2026, 11, 30, 13, tzinfo=UTC)
TURN = timedelta(minutes=6)
# These judge the paperwork of an answer, not where its sessions lie.
ABOUT_THE_ANSWER = {
    "the_value_is_as_claimed",
    "the_bound_is_not_below_the_value",
    "optimal_is_said_where_the_bound_is_reached",
    "unplaced_lists_exactly_the_missing",
}


def at(turn: int, opens: datetime = EIGHT) -> datetime:
    return opens + turn * TURN


def session(resident: str, start: int, stations: str) -> PlacedSession:
    """One turn at each of these stations, one after another; a dash is a turn of waiting."""
    slots = tuple(
        Slot(station, at(start + place), at(start + place + 1))
        for place, station in enumerate(stations)
        if station != "-"
    )
    return PlacedSession(resident, slots[0].start, slots[-1].end, slots)


def fixed(start: int, stations: str) -> FixedSession:
    return FixedSession(session("", start, stations).slots)


def resident(name: str = "R1", **facts: object) -> Resident:
    plain = Resident(
        id=name,
        sessions=1,
        stations=(Requirement("A", 1), Requirement("B", 1)),
        supervision=2,
        available=(Span(at(0), at(40)),),
        rewards=(1000, 500),
        recovery_hours=1,
    )
    return replace(plain, **facts)  # type: ignore[arg-type]


def problem(*residents: Resident, turns: int = 10, capacity: int = 6, **facts: object) -> Problem:
    """Two stations, one opening of so many turns from 08:00 in New York, one member of staff."""
    plain = Problem(
        timezone="America/New_York",
        turn=TURN,
        days=(Day(at(0), at(turns)),),
        stations=(Station("A"), Station("B")),
        supervision=(Supervision(at(0), at(turns), capacity),),
        residents=residents or (resident(),),
    )
    return replace(plain, **facts)  # type: ignore[arg-type]


def misplaced(problem: Problem, *sessions: PlacedSession) -> list[str]:
    """The rules that these sessions break by where they lie, each once."""
    broken = broken_rules(problem, Roster(sessions=sessions))
    return list(dict.fromkeys(one.rule for one in broken if one.rule not in ABOUT_THE_ANSWER))


def best_value(problem: Problem, *, at_most: int) -> int | None:
    """The highest value of all rosters that keep the rules, by trying them; None where there are too many."""
    weeks = [_weeks(problem, one) for one in problem.residents]
    count = 1
    for choices in weeks:
        count *= len(choices)
    if count > at_most:
        return None
    rosters = (Roster(sessions=tuple(one for week in choice for one in week)) for choice in product(*weeks))
    return max(value(problem, roster) for roster in rosters if not misplaced(problem, *roster.sessions))


def _weeks(problem: Problem, one: Resident) -> list[Sequence[PlacedSession]]:
    alone = [found for found in _sessions(problem, one) if not misplaced(problem, found)]
    weeks: list[Sequence[PlacedSession]] = [()]
    weeks += [(found,) for found in alone if one.sessions]
    if one.sessions > 1:
        pairs = [(first, second) for first in alone for second in alone if first.start < second.start]
        weeks += [pair for pair in pairs if not misplaced(problem, *pair)]
    return weeks


def _sessions(problem: Problem, one: Resident) -> Iterator[PlacedSession]:
    for day in problem.days:
        for start in range((day.closes - day.opens) // TURN):
            for size in range(1, len(one.stations) + 1):
                for order in permutations(one.stations, size):
                    yield from _with_waits(problem, one, at(start, day.opens), order)


def _with_waits(
    problem: Problem, one: Resident, start: datetime, order: Sequence[Requirement]
) -> Iterator[PlacedSession]:
    for waits in product(range(problem.max_wait_turns + 1), repeat=len(order) - 1):
        slots, moment = [], start
        for need, wait in zip(order, (*waits, 0), strict=True):
            slots.append(Slot(need.station, moment, moment + need.turns * TURN))
            moment = slots[-1].end + wait * TURN
        yield PlacedSession(one.id, start, slots[-1].end, tuple(slots))


@st.composite
def problems(draw: st.DrawFn, *, most_residents: int = 4, most_turns: int = 9) -> Problem:
    """Any fact of the format may turn up, also facts that contradict one another."""
    stations = "ABC"[: draw(st.integers(1, 3))]
    turns = draw(st.integers(1, most_turns))
    days = [Day(at(0), at(turns))]
    if draw(st.booleans()):
        opens = at(turns) + draw(st.sampled_from([timedelta(0), timedelta(minutes=10), timedelta(hours=3)]))
        days.append(Day(opens, at(draw(st.integers(1, 4)), opens)))
    names = [f"R{number}" for number in range(1, draw(st.integers(1, most_residents)) + 1)]
    pairs = [(one, other) for one in names for other in names if one < other]
    pair = st.sampled_from(pairs) if pairs else st.nothing()
    return Problem(
        timezone="America/New_York",
        turn=TURN,
        days=tuple(days),
        max_wait_turns=draw(st.integers(0, 1)),
        stations=tuple(Station(name, tuple(draw(st.lists(_spans(turns), max_size=1)))) for name in stations),
        supervision=tuple(draw(st.lists(_supervision(turns), min_size=1, max_size=3))),
        residents=tuple(draw(_residents(name, stations, turns)) for name in names),
        apart=tuple(draw(st.lists(pair, max_size=1))) if pairs else (),
        together=tuple(Together(names, draw(st.integers(0, 9))) for names in draw(st.lists(pair, max_size=1)))
        if pairs
        else (),
    )


@st.composite
def _spans(draw: st.DrawFn, turns: int) -> Span:
    start = draw(st.integers(-1, turns))
    # Half turns, so that facts need not lie on the grid.
    return Span(at(start), at(start) + draw(st.integers(0, 2 * turns)) * timedelta(minutes=3))


@st.composite
def _supervision(draw: st.DrawFn, turns: int) -> Supervision:
    start = draw(st.integers(-2, 2))
    end = start + draw(st.integers(turns // 2 + 1, 3 * turns))
    return Supervision(at(start), at(end), draw(st.sampled_from([2, 6, 6, 12])))


@st.composite
def _residents(draw: st.DrawFn, name: str, stations: str, turns: int) -> Resident:
    mine = draw(st.lists(st.sampled_from(stations), min_size=1, unique=True))
    first = draw(st.integers(1, 100))
    # Mostly absent: facts that leave no start would hide all others.
    rarely = st.integers(0, 4).map(lambda number: number == 0)
    return Resident(
        id=name,
        sessions=draw(st.integers(0, 2)),
        stations=tuple(Requirement(station, draw(st.sampled_from([1, 1, 2]))) for station in mine),
        supervision=draw(st.sampled_from([0, 2, 2, 3, 3, 6, 12])),
        available=(*draw(st.lists(_spans(turns), max_size=1)), Span(at(-1), at(turns + draw(st.integers(-1, 40))))),
        rewards=(first, draw(st.integers(1, first))),
        # A session lasts 6 to 36 min here; 0.2 h are two turns.
        recovery_hours=draw(st.sampled_from([0, Fraction(1, 5), 1, 3])),
        recovered_at=at(draw(st.integers(0, turns))) if draw(rarely) else None,
        next_session_at=at(draw(st.integers(turns, 4 * turns))) if draw(rarely) else None,
        skips_closed_stations=draw(st.booleans()),
        escort=Escort(1, draw(st.sampled_from([2, 6]))) if draw(rarely) else None,
        cost=Cost(draw(st.integers(0, 9)), tuple(draw(st.lists(_cost_windows(turns), max_size=2)))),
        short_gap=draw(st.none() | st.builds(ShortGap, st.sampled_from([Fraction(1, 2), 2]), st.integers(0, 9))),
        fixed=(draw(_fixed(stations, turns)),) if draw(rarely) else (),
    )


@st.composite
def _cost_windows(draw: st.DrawFn, turns: int) -> CostWindow:
    span = draw(_spans(turns))
    return CostWindow(span.start, span.end, draw(st.integers(0, 9)))


@st.composite
def _fixed(draw: st.DrawFn, stations: str, turns: int) -> FixedSession:
    start = at(draw(st.integers(-2, turns))) + draw(st.sampled_from([timedelta(0), timedelta(minutes=3)]))
    return FixedSession((Slot(draw(st.sampled_from(stations)), start, start + TURN),))
