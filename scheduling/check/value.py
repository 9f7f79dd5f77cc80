"""What a roster is worth, added up from the problem's own numbers, exactly."""

from datetime import datetime
from itertools import pairwise

from scheduling.problem import PlacedSession, Problem, Resident, Roster, Value


def value(problem: Problem, roster: Roster) -> Value:
    """Rewards of new sessions and of starts together, less costs of starts and short gaps; whole where inputs are.

    Defined in design.md 4.5; sessions of residents the problem does not know are worth nothing.
    """
    total: Value = 0
    for resident in problem.residents:
        own = [session for session in roster.sessions if session.resident == resident.id]
        total += sum(resident.rewards[: len(own)])
        total -= sum(_cost_of(resident, session.start) for session in own)
        total -= _short_gaps(resident, own)
    return total + _starts_together(problem, roster)


def _cost_of(resident: Resident, start: datetime) -> Value:
    for window in resident.cost.windows:
        if window.start <= start < window.end:
            return window.cost
    return resident.cost.default


def _short_gaps(resident: Resident, new: list[PlacedSession]) -> Value:
    if resident.short_gap is None:
        return 0
    spans = [(session.start, session.end, True) for session in new]
    spans += [(fixed.start, fixed.end, False) for fixed in resident.fixed]
    close = [
        1
        for (_, earlier_end, earlier_new), (later_start, _, later_new) in pairwise(sorted(spans))
        if (earlier_new or later_new) and later_start - earlier_end < resident.short_gap.length
    ]
    return len(close) * resident.short_gap.cost


def _starts_together(problem: Problem, roster: Roster) -> Value:
    new: dict[str, set[datetime]] = {resident.id: set() for resident in problem.residents}
    for session in roster.sessions:
        new.setdefault(session.resident, set()).add(session.start)
    fixed = {resident.id: {session.start for session in resident.fixed} for resident in problem.residents}
    total: Value = 0
    for pair in problem.together:
        one, other = pair.residents
        shared = (new[one] | fixed[one]) & (new[other] | fixed[other])
        total += pair.reward * len(shared - (fixed[one] & fixed[other] - new[one] - new[other]))
    return total
