"""Re-planning: published sessions stay where they can."""

from scheduling.problem import (
    Cost,
    CostWindow,
    Roster,
    Span,
    Station,
)
from tests.scheduling.answers import solved, starts
from tests.scheduling.problems import at, problem, resident, session


def _cheap(turn: int) -> Cost:
    return Cost(3, (CostWindow(at(turn), at(turn + 1), 0),))


def test_kept_sessions_stay_although_another_time_would_cost_less():
    facts = problem(resident("R1", cost=_cheap(0)))
    before = Roster(sessions=(session("R1", 5, "AB"),))

    roster = solved(facts, kept=before)

    assert (starts(roster), roster.objective) == ([("R1", 5)], 997)
    assert (roster.kept.stay, roster.kept.moved, roster.kept.lost, roster.kept.moved_bound) == (1, 0, 0, 0)


def test_a_kept_session_moves_so_that_somebody_else_has_one():
    one, other = resident("R1", supervision=6), resident("R2", supervision=6, available=(Span(at(2), at(4)),))
    before = Roster(sessions=(session("R1", 2, "AB"),))

    roster = solved(problem(one, other), kept=before)

    assert len(roster.sessions) == 2
    assert (roster.kept.stay, roster.kept.moved, roster.kept.lost, roster.kept.moved_bound) == (0, 1, 0, 0)


def test_a_kept_session_that_is_no_longer_possible_is_proven_to_move():
    closed = (Station("A", (Span(at(5), at(7)),)), Station("B"))
    before = Roster(sessions=(session("R1", 5, "AB"), session("gone away", 1, "AB")))

    roster = solved(problem(stations=closed), kept=before)

    assert (roster.kept.stay, roster.kept.moved, roster.kept.lost, roster.kept.moved_bound) == (0, 1, 1, 1)
