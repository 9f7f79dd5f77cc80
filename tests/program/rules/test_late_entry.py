"""How late something was written down, in words, and when the sets of a visit on paper ended."""

from datetime import UTC, datetime, timedelta

import pytest

from program.rules.late_entry import hours_and_minutes, late_entry, set_ends

TEN = datetime(2026, 12, 1, 15, 0, tzinfo=UTC)
HALF_PAST = TEN + timedelta(minutes=30)


def test_what_is_written_within_the_hour_is_no_late_entry():
    # Common practice, no source: the hour stands beside the rule.
    assert late_entry(TEN, TEN + timedelta(hours=1)) is None
    assert late_entry(TEN, TEN + timedelta(hours=1, seconds=1)) == timedelta(hours=1, seconds=1)


def test_the_next_afternoon_is_29_hours_and_a_half_after_half_past_ten():
    # Walk-through 12.
    delay = late_entry(HALF_PAST, datetime(2026, 12, 2, 21, 0, tzinfo=UTC))

    assert hours_and_minutes(delay) == "29 h 30 min"


@pytest.mark.parametrize(
    ("seconds", "said"), [(59, "0 min"), (45 * 60, "45 min"), (7200, "2 h"), (7259, "2 h"), (7260, "2 h 1 min")]
)
def test_a_delay_is_said_in_whole_minutes(seconds, said):
    assert hours_and_minutes(timedelta(seconds=seconds)) == said


def test_sets_are_spread_over_the_visit_and_the_last_ends_with_it():
    ends = set_ends(TEN, HALF_PAST, [60, 60, 60])

    assert ends == [TEN + timedelta(minutes=10), TEN + timedelta(minutes=20), HALF_PAST]


def test_no_set_begins_before_the_visit_nor_before_the_set_before_it():
    seconds = [90, 75, 61]
    ends = set_ends(TEN, TEN + timedelta(seconds=sum(seconds)), seconds)

    starts = [end - timedelta(seconds=length) for end, length in zip(ends, seconds, strict=True)]
    assert starts == [TEN, *ends[:-1]]
