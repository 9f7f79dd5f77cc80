"""One call from problem to roster: fill, prove, improve, and say what is missing and why."""

from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

from scheduling.problem import Kept, PlacedSession, Problem, Roster, Slot, Unplaced, Value
from scheduling.solver.board import Placement
from scheduling.solver.bound import proven_bound
from scheduling.solver.conflicts import conflicts_among_fixed
from scheduling.solver.filling import Filling
from scheduling.solver.layout import to_instant
from scheduling.solver.reasons import reasons_for
from scheduling.solver.search import fill_in_order, improve


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the search has come; `bound` is None until it is proven."""

    seconds: float
    value: Value
    bound: Value | None
    placed: int
    asked: int


def solve(
    problem: Problem,
    *,
    seconds: float,
    progress: Callable[[Progress], None] | None = None,
    kept: Roster | None = None,
    stop: Callable[[], bool] | None = None,
) -> Roster:
    """The best roster found within so many seconds; always one, and the same for the same problem.

    `kept`: sessions that should stay, decided after the rewards and before all other costs. `stop` is asked
    between steps and ends the search early. Where time runs out, the answer depends on the machine's speed.
    """
    began = monotonic()

    def is_over() -> bool:
        return monotonic() - began >= seconds or (stop is not None and stop())

    filling = Filling(problem, kept)
    fill_in_order(filling, is_over)
    bound: Value | None = None

    def report() -> None:
        if progress is not None:
            placed = sum(len(week) for week in filling.placed)
            asked = sum(resident.sessions for resident in problem.residents)
            progress(Progress(monotonic() - began, _objective(filling), bound, placed, asked))

    report()
    proven = proven_bound(filling)
    bound = filling.money.value(proven)
    report()
    # With sessions to be kept the bound says nothing about staying, so the search has no target.
    improve(filling, None if kept else proven, is_over, report)
    return _answer(filling, proven, kept, seconds=round(monotonic() - began, 3))


def _answer(filling: Filling, proven: int, kept: Roster | None, *, seconds: float) -> Roster:
    return Roster(
        sessions=_sessions(filling),
        unplaced=_unplaced(filling),
        status="optimal" if filling.true_value() == proven else "feasible",
        objective=_objective(filling),
        bound=filling.money.value(proven),
        seconds=seconds,
        conflicts=conflicts_among_fixed(filling.problem),
        kept=_kept(filling, kept) if kept else None,
    )


def _objective(filling: Filling) -> Value:
    return filling.money.value(filling.true_value())


def _sessions(filling: Filling) -> tuple[PlacedSession, ...]:
    sessions = [_session(filling, place, placement) for place, week in enumerate(filling.placed) for placement in week]
    return tuple(sorted(sessions, key=lambda session: (session.start, session.resident)))


def _session(filling: Filling, place: int, placement: Placement) -> PlacedSession:
    turn, stations = filling.layout.turn, filling.problem.stations
    slots = tuple(
        Slot(
            stations[station].id,
            to_instant(placement.at + at * turn),
            to_instant(placement.at + (at + turns) * turn),
        )
        for station, at, turns in placement.visits
    )
    resident = filling.problem.residents[place].id
    return PlacedSession(resident, to_instant(placement.at), to_instant(placement.end), slots)


def _unplaced(filling: Filling) -> tuple[Unplaced, ...]:
    return tuple(
        Unplaced(resident.id, filling.missing(place), reasons_for(filling, place))
        for place, resident in enumerate(filling.problem.residents)
        if filling.missing(place)
    )


def _kept(filling: Filling, kept: Roster) -> Kept:
    """Least moved: sessions whose start is no longer possible even alone, less those that were lost."""
    stay = moved = gone = 0
    for place, stays in enumerate(filling.stays):
        week, weeks = filling.placed[place], filling.weeks[place]
        at_same_time = sum(placement.at in stays for placement in week)
        stay += at_same_time
        moved += min(len(stays), len(week)) - at_same_time
        gone += len(stays - set(weeks.at.tolist()))
    lost = len(kept.sessions) - stay - moved
    known = sum(map(len, filling.stays))
    return Kept(stay, moved, lost, max(0, gone - (known - stay - moved)))
