"""Each rule of the checker alone, with a roster made by hand that breaks it and one that just keeps it."""

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import pytest

from scheduling.check import RULES, broken_rules, value
from scheduling.problem import (
    Cost,
    CostWindow,
    Day,
    Escort,
    PlacedSession,
    Problem,
    Reason,
    Requirement,
    Roster,
    ShortGap,
    Slot,
    Span,
    Station,
    Supervision,
    Together,
    Unplaced,
)
from tests.scheduling.problems import at, fixed, misplaced, problem, resident, session

HALF_TURN = timedelta(minutes=3)
MICROSECOND = timedelta(microseconds=1)


def shifted(one: PlacedSession, by: timedelta) -> PlacedSession:
    slots = tuple(Slot(slot.station, slot.start + by, slot.end + by) for slot in one.slots)
    return PlacedSession(one.resident, one.start + by, one.end + by, slots)


FINE = session("R1", 2, "AB")
TWO = resident(sessions=2, recovery_hours=1)
CLOSED = (Station("A"), Station("B", (Span(at(3) + HALF_TURN, at(5)),)))
SKIPPING = resident(skips_closed_stations=True)
OTHER = resident("R2")


# Rule, problem, a roster that breaks it, the same roster changed until it does not.
CASES: list[tuple[str, Problem, list[PlacedSession], list[PlacedSession]]] = [
    ("every_name_is_known", problem(), [replace(FINE, resident="R7")], [FINE]),
    ("nobody_has_more_sessions_than_asked", problem(turns=40), [FINE, session("R1", 14, "AB")], [FINE]),
    ("a_session_runs_from_its_first_slot_to_its_last", problem(), [replace(FINE, end=at(5))], [FINE]),
    ("a_session_runs_from_its_first_slot_to_its_last", problem(), [replace(FINE, start=at(1))], [FINE]),
    ("sessions_lie_on_whole_turns", problem(), [shifted(FINE, HALF_TURN)], [FINE]),
    ("a_session_lies_within_one_opening", problem(), [session("R1", 9, "AB")], [session("R1", 8, "AB")]),
    (
        "a_session_lies_within_one_opening",
        problem(days=(Day(at(0), at(3)), Day(at(3), at(6)))),
        [FINE],
        [session("R1", 3, "AB")],
    ),
    (
        "a_session_lies_within_one_available_time",
        problem(resident(available=(Span(at(0), at(3)), Span(at(3), at(6))))),
        [FINE],
        [session("R1", 3, "AB")],
    ),
    ("the_right_stations_once_each", problem(), [session("R1", 2, "A")], [FINE]),
    (
        "the_right_stations_once_each",
        problem(resident(stations=(Requirement("A", 1),))),
        [session("R1", 2, "AB")],
        [session("R1", 2, "A")],
    ),
    ("the_right_stations_once_each", problem(SKIPPING, stations=CLOSED), [FINE], [session("R1", 2, "A")]),
    (
        "the_right_stations_once_each",
        problem(SKIPPING, stations=CLOSED),
        [session("R1", 1, "A")],
        [session("R1", 1, "AB")],
    ),
    ("no_wait_is_longer_than_allowed", problem(), [session("R1", 2, "A-B")], [FINE]),
    (
        "no_wait_is_longer_than_allowed",
        problem(max_wait_turns=1),
        [session("R1", 2, "A--B")],
        [session("R1", 2, "A-B")],
    ),
    (
        "no_station_holds_two",
        problem(resident(), OTHER),
        [FINE, session("R2", 1, "BA")],
        [FINE, session("R2", 2, "BA")],
    ),
    ("no_station_holds_two", problem(resident(), replace(OTHER, fixed=(fixed(2, "AB"),))), [FINE], []),
    ("no_station_is_used_while_closed", problem(stations=CLOSED), [FINE], [session("R1", 2, "BA")]),
    (
        "nobody_trains_before_recovery",
        problem(TWO, turns=40),
        [FINE, session("R1", 13, "AB")],
        [FINE, session("R1", 14, "AB")],
    ),
    (
        "nobody_trains_before_recovery",
        problem(resident(recovered_at=at(2) + MICROSECOND)),
        [FINE],
        [session("R1", 3, "AB")],
    ),
    (
        "nobody_trains_before_recovery",
        problem(resident(fixed=(fixed(20, "AB"),)), turns=40),
        [session("R1", 9, "AB")],
        [session("R1", 8, "AB")],
    ),
    (
        "the_next_session_still_has_its_recovery",
        problem(resident(next_session_at=at(14) - MICROSECOND)),
        [FINE],
        [session("R1", 1, "AB")],
    ),
    ("help_is_never_exceeded", problem(capacity=1), [FINE], []),
    (
        "help_is_never_exceeded",
        problem(supervision=(Supervision(at(0), at(3) + HALF_TURN, 6),)),
        [FINE],
        [session("R1", 1, "AB")],
    ),
    ("help_is_never_exceeded", problem(resident(escort=Escort(1, 6))), [session("R1", 0, "AB")], [FINE]),
    ("help_is_never_exceeded", problem(resident(escort=Escort(1, 6))), [session("R1", 8, "AB")], [FINE]),
    (
        "help_is_never_exceeded",
        problem(resident(supervision=3), resident("R2", supervision=4, fixed=(fixed(4, "B"),))),
        [session("R1", 3, "BA")],
        [FINE],
    ),
    (
        "help_is_never_exceeded",
        problem(resident(), resident("R2", escort=Escort(1, 6), fixed=(fixed(4, "B"),))),
        [FINE],
        [session("R1", 1, "AB")],
    ),
    (
        "apart_are_never_there_together",
        problem(resident(), OTHER, apart=(("R2", "R1"),)),
        [FINE, session("R2", 3, "AB")],
        [FINE, session("R2", 4, "AB")],
    ),
    (
        "apart_are_never_there_together",
        problem(resident(), replace(OTHER, fixed=(fixed(3, "A"),)), apart=(("R1", "R2"),)),
        [session("R1", 2, "AB")],
        [session("R1", 1, "AB")],
    ),
]


@pytest.mark.parametrize(("rule", "facts", "bad", "good"), CASES)
def test_each_rule_catches_its_fault_and_lets_its_neighbour_pass(rule, facts, bad, good):
    assert rule in misplaced(facts, *bad)
    assert misplaced(facts, *good) == []


@pytest.mark.parametrize(("sixths", "rules"), [(3, ["help_is_never_exceeded"]), (2, [])])
def test_a_waiting_resident_needs_help_but_no_station(sixths, rules):
    other = resident("R2", stations=(Requirement("A", 1),), supervision=sixths)
    facts = problem(resident(supervision=4), other, max_wait_turns=1)

    assert misplaced(facts, session("R1", 2, "A-B"), session("R2", 3, "A")) == rules


def test_fixed_sessions_that_break_rules_are_nobodys_fault():
    contradiction = resident(sessions=0, supervision=9, fixed=(fixed(-1, "A"), fixed(1, "A")))

    assert misplaced(problem(contradiction)) == []


def test_nobody_new_may_share_an_instant_in_which_fixed_sessions_need_too_much_help():
    crowd = resident("R2", sessions=0, supervision=9, fixed=(fixed(2, "A"),))

    facts = problem(resident(supervision=0), crowd)

    assert misplaced(facts, session("R1", 2, "BA")) == ["help_is_never_exceeded"]


def right(facts: Problem, *sessions: PlacedSession, **claims: object) -> Roster:
    roster = Roster(sessions=sessions)
    worth = value(facts, roster)
    return replace(roster, objective=worth, bound=worth, status="optimal", **claims)


@pytest.mark.parametrize(
    ("claims", "rules"),
    [
        ({}, []),
        ({"objective": 999, "bound": 999}, ["the_value_is_as_claimed"]),
        ({"bound": 999, "status": "feasible"}, ["the_bound_is_not_below_the_value"]),
        ({"bound": 1001}, ["optimal_is_said_where_the_bound_is_reached"]),
        ({"status": "feasible"}, ["optimal_is_said_where_the_bound_is_reached"]),
        # Rounded down where values are whole (design.md 4.5).
        ({"bound": Fraction(2001, 2)}, []),
        ({"unplaced": (Unplaced("R1", 1, (Reason("no_time", "No time."),)),)}, ["unplaced_lists_exactly_the_missing"]),
    ],
)
def test_what_an_answer_claims_is_checked(claims, rules):
    roster = replace(right(problem(), FINE), **claims)

    assert [broken.rule for broken in broken_rules(problem(), roster)] == rules


def test_whoever_is_missing_must_be_listed_with_a_reason():
    nobody = right(problem())

    listed = [
        replace(nobody, unplaced=unplaced)
        for unplaced in ((), (Unplaced("R1", 1, ()),), (Unplaced("R1", 1, (Reason("no_time", "No time."),)),))
    ]

    assert [len(broken_rules(problem(), roster)) for roster in listed] == [1, 1, 0]


def test_every_rule_is_caught_by_some_case_here():
    about_answers = {
        "the_value_is_as_claimed",
        "the_bound_is_not_below_the_value",
        "optimal_is_said_where_the_bound_is_reached",
        "unplaced_lists_exactly_the_missing",
    }

    assert {rule.__name__ for rule in RULES} == {rule for rule, *_ in CASES} | about_answers


def worth(facts: Problem, *sessions: PlacedSession) -> object:
    return value(facts, Roster(sessions=sessions))


def test_the_first_cost_window_that_holds_a_start_counts():
    windows = (CostWindow(at(0), at(2), 1), CostWindow(at(1), at(4), 2))
    facts = problem(resident(cost=Cost(5, windows)))

    assert [1000 - worth(facts, session("R1", start, "AB")) for start in (1, 2, 4)] == [1, 2, 5]


def test_a_gap_costs_when_strictly_shorter_and_never_between_two_fixed_sessions():
    # 2 h are 20 turns; the fixed sessions end at turn 2 and begin at turn 10.
    one = resident(sessions=2, short_gap=ShortGap(2, 7), fixed=(fixed(0, "AB"), fixed(10, "AB")))
    facts = problem(one, turns=80)

    assert [worth(facts, session("R1", start, "AB")) for start in (31, 32)] == [993, 1000]
    assert worth(facts) == 0


def test_a_start_together_counts_once_and_not_for_two_fixed_sessions():
    mine, theirs = resident("R1"), resident("R2", fixed=(fixed(2, "BA"),))
    facts = problem(mine, theirs, together=(Together(("R1", "R2"), 7),))
    both_fixed = replace(facts, residents=(replace(mine, fixed=(fixed(2, "AB"),)), theirs))

    assert worth(facts, FINE) == 1007
    assert worth(facts, session("R1", 4, "AB")) == 1000
    assert worth(both_fixed) == 0
