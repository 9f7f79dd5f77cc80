"""What a phone told by its own clock, in our time."""

from datetime import UTC, datetime, timedelta

import pytest

from program.rules.phone_clock import corrected

RECEIVED = datetime(2026, 11, 30, 16, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.mark.parametrize("fast", [7, -7])
def test_a_clock_that_is_seven_minutes_off_is_put_right(fast):
    # Walk-through 11 has the fast one.
    happened_at = RECEIVED - 30 * MINUTE

    told = corrected(happened_at + fast * MINUTE, sent_at=RECEIVED + fast * MINUTE, received_at=RECEIVED)

    assert told == happened_at


@pytest.mark.parametrize(("off", "moved"), [(120, 0), (-120, 0), (121, -121), (-121, 121)])
def test_up_to_two_minutes_decide_nothing(off, moved):
    happened_at = RECEIVED - 30 * MINUTE

    told = corrected(happened_at, sent_at=RECEIVED + timedelta(seconds=off), received_at=RECEIVED)

    assert told - happened_at == timedelta(seconds=moved)


def test_nothing_happened_after_it_was_received():
    assert corrected(RECEIVED + MINUTE, sent_at=RECEIVED + MINUTE, received_at=RECEIVED) == RECEIVED


def test_nothing_happened_before_the_session_began():
    began = RECEIVED - 10 * MINUTE

    told = corrected(RECEIVED - 5 * MINUTE, sent_at=RECEIVED + 7 * MINUTE, received_at=RECEIVED, not_before=began)

    assert told == began


def test_a_start_that_lies_ahead_cannot_push_anything_past_the_receipt():
    told = corrected(RECEIVED, sent_at=RECEIVED, received_at=RECEIVED, not_before=RECEIVED + MINUTE)

    assert told == RECEIVED
