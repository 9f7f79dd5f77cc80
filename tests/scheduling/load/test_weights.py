"""What sessions are worth, and how many the bound leaves possible."""

from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.load.making import _hours
from scheduling.load.weights import MOST_A_SESSION, most_sessions, rewards
from scheduling.problem.facts import whole_microseconds

LARGEST_SAFE = 2**53


def test_a_higher_line_outweighs_all_lower_ones_together() -> None:
    asked = {f"R{number}": 2 for number in range(120)}
    worth = rewards(asked=asked, started={"R0"}, overdue={"R1", "R2"}, pairs=3)
    overdue, first, further = worth["R1"][0], worth["R3"][0], worth["R3"][1]

    assert worth["R0"] == (further, further)
    assert further > 240 * (MOST_A_SESSION + 3)
    assert first > 240 * further - 119 * further
    assert overdue > 119 * first
    assert max(max(own) for own in worth.values()) * 240 < LARGEST_SAFE


def test_one_who_needs_two_people_is_not_dropped_for_five_second_sessions() -> None:
    asked = {"needs two people": 2, **{f"R{number}": 2 for number in range(5)}}
    worth = rewards(asked=asked, started=(), overdue=())

    assert worth["needs two people"][0] > sum(worth[f"R{number}"][1] for number in range(5)) + 12 * MOST_A_SESSION


@pytest.mark.parametrize(
    ("missing_firsts", "missing_further", "most"), [(0, 0, 8), (0, 1, 7), (0, 2, 6), (1, 1, 6), (2, 2, 4), (4, 4, 0)]
)
def test_the_bound_says_how_many_sessions_are_possible(missing_firsts: int, missing_further: int, most: int) -> None:
    worth = list(rewards(asked=dict.fromkeys("ABCD", 2), started=(), overdue=()).values())
    first, further = worth[0]
    bound = (4 - missing_firsts) * first + (4 - missing_further) * further

    assert most_sessions(worth, bound) == most
    # Soft points lower a value, never the number of sessions.
    assert most_sessions(worth, bound - 5) == most


@given(st.integers(min_value=0, max_value=10), st.integers(min_value=1, max_value=60))
def test_hours_with_a_buffer_reach_the_same_microsecond(turns: int, minutes: int) -> None:
    buffer = turns * timedelta(minutes=minutes)

    assert whole_microseconds(_hours(Decimal(48), buffer)) == timedelta(hours=48) + buffer
