"""Each hard rule alone with a few tiny facts, then everything at once, judged by the checker and by trying all."""

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings

from scheduling.check import broken_rules
from scheduling.problem import (
    Cost,
    CostWindow,
    Day,
    Escort,
    Requirement,
    ShortGap,
    Span,
    Station,
    Supervision,
    Together,
)
from scheduling.solver import Progress, conflicts_among_fixed, solve
from tests.scheduling.answers import codes, solved, starts
from tests.scheduling.problems import at, best_value, fixed, problem, problems, resident

ONE_STATION = (Requirement("A", 1),)


@settings(max_examples=150, deadline=None)
@given(problems())
def test_every_roster_keeps_every_rule(facts):
    assert broken_rules(facts, solve(facts, seconds=5)) == []


@settings(max_examples=60, deadline=None)
@given(problems(most_residents=3, most_turns=5))
def test_no_roster_of_a_tiny_problem_passes_the_bound_and_optimal_means_best(facts):
    best = best_value(facts, at_most=400)
    if best is None:
        return
    roster = solve(facts, seconds=5)
    assert roster.objective <= best <= roster.bound
    assert roster.status != "optimal" or roster.objective == best


@settings(max_examples=20, deadline=None)
@given(problems())
def test_the_same_problem_has_the_same_answer(facts):
    first, second = (replace(solve(facts, seconds=5), seconds=0) for _ in range(2))
    assert first == second


def test_two_residents_share_two_stations_in_opposite_order():
    roster = solved(problem(resident("R1"), resident("R2"), turns=2))

    assert (starts(roster), roster.status) == ([("R1", 0), ("R2", 0)], "optimal")


def test_a_station_holds_one_at_a_time():
    roster = solved(problem(*(resident(name, stations=ONE_STATION) for name in ("R1", "R2")), turns=1))

    assert (len(roster.sessions), codes(roster)) == (1, [["no_station_free"]])


def test_help_is_never_exceeded_and_is_the_reason():
    roster = solved(problem(resident("R1", supervision=4), resident("R2", supervision=3), turns=2))

    assert (len(roster.sessions), codes(roster)) == (1, [["no_help_free"]])


def test_a_drop_of_help_inside_a_turn_counts_for_the_whole_turn():
    shifts = (Supervision(at(0), at(2) + timedelta(minutes=3), 6), Supervision(at(3), at(6), 6))
    roster = solved(problem(resident(stations=ONE_STATION, cost=_cheap(2)), turns=6, supervision=shifts))

    assert starts(roster) != [("R1", 2)]


def test_fetching_needs_help_but_not_the_residents_own_time():
    one = resident(escort=Escort(1, 6), available=(Span(at(1), at(3)),))

    assert starts(solved(problem(one, turns=4))) == [("R1", 1)]


def test_nobody_is_fetched_outside_the_hours_with_help():
    roster = solved(problem(resident(escort=Escort(1, 6)), turns=2))

    assert (starts(roster), codes(roster)) == ([], [["no_help_free"]])


def test_two_sessions_keep_recovery_to_the_instant():
    two = resident(sessions=2, recovery_hours=1)

    assert [len(solved(problem(two, turns=turns)).sessions) for turns in (13, 14)] == [1, 2]


@pytest.mark.parametrize(
    ("facts", "start"),
    [
        ({"recovered_at": at(5)}, 5),
        ({"recovered_at": at(4) + timedelta(microseconds=1)}, 5),
        ({"available": (Span(at(3), at(5)),)}, 3),
        ({"next_session_at": at(12), "cost": Cost(0, (CostWindow(at(0), at(0), 0),))}, 0),
    ],
)
def test_own_times_are_kept_to_the_instant(facts, start):
    assert starts(solved(problem(resident(**facts)))) == [("R1", start)]


def test_an_end_that_would_come_too_close_to_the_next_session_is_refused():
    roster = solved(problem(resident(next_session_at=at(12) - timedelta(microseconds=1))))

    assert (starts(roster), codes(roster)) == ([], [["too_close"]])


def test_a_closed_station_blocks_or_is_left_out():
    closed = (Station("A"), Station("B", (Span(at(0), at(10)),)))
    block, skip = resident(), resident(skips_closed_stations=True)

    blocked, skipped = (solved(problem(one, stations=closed)) for one in (block, skip))

    assert (starts(blocked), codes(blocked)) == ([], [["station_closed"]])
    assert [[slot.station for slot in one.slots] for one in skipped.sessions] == [["A"]]


def test_a_session_must_keep_at_least_one_station():
    closed = tuple(Station(name, (Span(at(0), at(10)),)) for name in "AB")

    roster = solved(problem(resident(skips_closed_stations=True), stations=closed))

    assert (starts(roster), codes(roster)) == ([], [["station_closed"]])


def test_a_wait_is_used_where_it_is_allowed():
    # A is free only in the first turn, B only in the third.
    stations = (Station("A", (Span(at(1), at(9)),)), Station("B", (Span(at(0), at(2)),)))
    facts = problem(turns=3, stations=stations)

    assert [len(solved(replace(facts, max_wait_turns=turns)).sessions) for turns in (0, 1)] == [0, 1]


def test_those_kept_apart_do_not_meet():
    roster = solved(problem(resident("R1"), resident("R2"), turns=3, apart=(("R1", "R2"),)))

    assert codes(roster) == [["apart"]]


def test_those_together_start_together():
    facts = problem(
        resident("R1", cost=_cheap(0)), resident("R2", cost=_cheap(4)), together=(Together(("R1", "R2"), 7),)
    )

    roster = solved(facts)

    assert roster.objective == 2000 + 7 - 3
    assert len({one.start for one in roster.sessions}) == 1


def test_the_cheapest_start_is_taken():
    assert starts(solved(problem(resident(cost=_cheap(3))))) == [("R1", 3)]


def test_a_short_gap_is_avoided_where_there_is_room():
    two = resident(sessions=2, recovery_hours=1, short_gap=ShortGap(2, 5), available=(Span(at(0), at(60)),))

    assert [solved(problem(two, turns=turns)).objective for turns in (14, 23, 24)] == [1495, 1495, 1500]


def test_a_short_gap_never_stands_in_for_recovery():
    two = resident(sessions=2, recovery_hours=1, short_gap=ShortGap(2, 5))

    rosters = [solved(problem(two, turns=turns)) for turns in (13, 14)]

    # The bound is proven by the same path, so it may not count on a session before recovery either.
    assert [(len(roster.sessions), roster.bound) for roster in rosters] == [(1, 1000), (2, 1495)]


def test_a_short_gap_to_a_fixed_session_on_either_side_is_avoided():
    # Turns 0 and 28 are the cheap ones; each is closer than 2 h to the fixed session from turn 14 to 16.
    cheap = Cost(3, (CostWindow(at(0), at(1), 0), CostWindow(at(28), at(29), 0)))
    one = resident(short_gap=ShortGap(2, 5), fixed=(fixed(14, "AB"),), cost=cheap, available=(Span(at(0), at(60)),))

    assert solved(problem(one, turns=30)).objective == 995
    assert solved(problem(one, turns=40)).objective == 997


def test_a_session_that_costs_more_than_it_is_worth_is_left_out_with_that_reason():
    roster = solved(problem(resident(rewards=(3,), cost=Cost(4))))

    assert (roster.objective, roster.status, codes(roster)) == (0, "optimal", [["not_worth_it"]])


def test_whoever_is_overdue_goes_first():
    one, overdue = resident("R1", supervision=6), resident("R2", supervision=6, rewards=(9000,))

    assert starts(solved(problem(one, overdue, turns=2))) == [("R2", 0)]


def test_fixed_sessions_use_stations_help_and_recovery():
    here = resident("R1", fixed=(fixed(0, "AB"),))
    roster = solved(problem(here, resident("R2", supervision=6), turns=4))

    assert starts(roster) == [("R2", 2)]


def test_fixed_sessions_that_contradict_each_other_are_named_and_the_rest_is_solved():
    stations = (Station("A"), Station("B"))
    one = resident("R1", sessions=0, fixed=(fixed(0, "A"), fixed(3, "A")))
    other = resident("R2", sessions=0, supervision=6, fixed=(fixed(0, "A"),))
    facts = problem(one, other, resident("R3"), stations=stations, apart=(("R1", "R2"),))

    roster = solved(facts)

    assert [(conflict.code, conflict.residents) for conflict in roster.conflicts] == [
        ("too_close", ("R1",)),
        ("station_held_twice", ("R1", "R2")),
        ("help_short", ("R1", "R2")),
        ("apart", ("R1", "R2")),
    ]
    assert roster.conflicts == conflicts_among_fixed(facts)
    assert [one.resident for one in roster.sessions] == ["R3"]


def test_two_openings_on_one_date_have_their_own_grids():
    days = (Day(at(0), at(2)), Day(at(2) + timedelta(minutes=4), at(5)))
    facts = problem(*(resident(name, supervision=6) for name in ("R1", "R2")), days=days)

    assert [one.start for one in solved(facts).sessions] == [days[0].opens, days[1].opens]


def test_openings_that_overlap_in_time_share_their_stations():
    days = (Day(at(0), at(3)), Day(at(0) + timedelta(minutes=3), at(4)))
    residents = [resident(name, stations=ONE_STATION, supervision=0) for name in ("R1", "R2", "R3", "R4")]

    assert len(solved(problem(*residents, days=days, turns=4)).sessions) == 3


def test_nothing_to_do_is_optimal_with_nothing():
    for facts in (problem(days=(), residents=()), problem(residents=())):
        roster = solved(facts)
        assert (roster.status, roster.objective, roster.bound, roster.sessions) == ("optimal", 0, 0, ())


def test_without_days_everybody_is_left_out_with_a_reason():
    assert codes(solved(problem(days=()))) == [["no_time"]]


def test_values_that_are_not_whole_stay_exact():
    facts = problem(resident(rewards=(Fraction(10001, 10),), cost=Cost(Fraction(2, 10))))

    assert solved(facts).objective == Fraction(9999, 10)


def test_the_largest_rewards_are_added_exactly():
    many = resident(sessions=2, rewards=(10**12, 10**12), recovery_hours=1, cost=Cost(1))

    assert solved(problem(many, turns=20)).objective == 2 * 10**12 - 2


def test_without_time_the_roster_is_empty_but_complete():
    facts = problem(resident("R1"), resident("R2"))

    roster = solve(facts, seconds=0)

    assert broken_rules(facts, roster) == []
    assert (roster.sessions, codes(roster)) == ((), [["not_found"], ["not_found"]])


def test_whoever_asks_to_stop_gets_what_there_is():
    facts = problem(resident("R1"), resident("R2"))

    assert solved(facts, stop=lambda: True).sessions == ()


def test_progress_says_how_far_it_is():
    heard: list[Progress] = []

    solved(problem(resident("R1"), resident("R2")), progress=heard.append)

    assert [(one.placed, one.asked, one.bound) for one in heard] == [(2, 2, None), (2, 2, 2000)]


def _cheap(turn: int) -> Cost:
    return Cost(3, (CostWindow(at(turn), at(turn + 1), 0),))
