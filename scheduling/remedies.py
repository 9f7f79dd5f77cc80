"""What can be done for one resident: times that leave the week's other sessions where they are, or move one of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from scheduling.problem import Problem, Resident
from scheduling.solver.filling import Filling
from scheduling.solver.reasons import reasons_for
from scheduling.times import Allowed, Block, allowed_starts


@dataclass(frozen=True, slots=True)
class Standing:
    """Another session of the resident in the same week, known by `key`, that may be moved."""

    key: int
    start: datetime


@dataclass(frozen=True, slots=True)
class Moving:
    """A time that is free once the session `moves` goes to `to`, the first time it then can have."""

    time: Allowed
    moves: Standing
    to: Allowed


@dataclass(frozen=True, slots=True)
class Remedies:
    """Both in order of time; every time keeps all rules. No time is in both."""

    keeps: tuple[Allowed, ...] = ()
    moves: tuple[Moving, ...] = ()

    @property
    def are_none(self) -> bool:
        return not self.keeps and not self.moves


def remedies_in(
    problem: Problem, resident_id: str, blocks: Sequence[Block], others: Sequence[Standing] = ()
) -> Remedies:
    """One more session for the resident in this week: with the `others` where they are, or one of them moved.

    Raises KeyError for an unknown resident.
    """
    keeps = allowed_starts(problem, resident_id, blocks)
    taken = {time.start for time in keeps}
    moves: list[Moving] = []
    for other in others:
        without = _without(problem, resident_id, other.start)
        free = allowed_starts(without, resident_id, blocks)
        recovery = _resident(problem, resident_id).recovery
        for time in free:
            if time.start in taken or time.start == other.start:
                continue
            if to := next((to for to in free if _are_apart(time, to, recovery)), None):
                taken.add(time.start)
                moves.append(Moving(time, other, to))
    return Remedies(tuple(keeps), tuple(sorted(moves, key=lambda move: move.time.start)))


def why_none(problem: Problem, resident_id: str) -> str:
    """What refuses most of the times that come nearest to being possible, in one sentence."""
    filling = Filling(problem, None)
    place = next(place for place, one in enumerate(problem.residents) if one.id == resident_id)
    return reasons_for(filling, place)[0].text


def _without(problem: Problem, resident_id: str, start: datetime) -> Problem:
    """The same week as if that session of the resident were not there."""
    residents = tuple(
        replace(one, fixed=tuple(fixed for fixed in one.fixed if fixed.start != start))
        if one.id == resident_id
        else one
        for one in problem.residents
    )
    return replace(problem, residents=residents)


def _are_apart(one: Allowed, other: Allowed, recovery: timedelta) -> bool:
    return one.end + recovery <= other.start or other.end + recovery <= one.start


def _resident(problem: Problem, resident_id: str) -> Resident:
    for resident in problem.residents:
        if resident.id == resident_id:
            return resident
    raise KeyError(resident_id)
