from datetime import UTC, datetime, timedelta

import pytest

from program.rules.states import HOLDS_NOTHING, State, Traces, is_late, state_at

START = datetime(2026, 11, 30, 14, 0, tzinfo=UTC)
CLOSES = datetime(2026, 11, 30, 22, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
DURING = START + 5 * MINUTE


def traces(**known):
    return Traces(starts_at=START, day_closes_at=CLOSES, **known)


@pytest.mark.parametrize(
    ("known", "open_state", "closed_state"),
    [
        ({}, State.PUBLISHED, State.NOT_RECORDED),
        ({"started_at": START}, State.STARTED, State.ENDED_WITHOUT_A_SET),
        ({"attempted_at": START}, State.PUBLISHED, State.MISSED),
        ({"started_at": START, "sets_done": 1}, State.DONE, State.DONE),
        ({"started_at": START, "ended_at": DURING}, State.ENDED_WITHOUT_A_SET, State.ENDED_WITHOUT_A_SET),
        ({"given_up_at": START}, State.GIVEN_UP, State.GIVEN_UP),
        ({"withdrawn_at": START}, State.WITHDRAWN, State.WITHDRAWN),
        # What really happened outweighs what was said before.
        ({"withdrawn_at": START, "sets_done": 1}, State.DONE, State.DONE),
        ({"given_up_at": START, "sets_done": 1}, State.DONE, State.DONE),
        ({"attempted_at": START, "started_at": DURING}, State.STARTED, State.ENDED_WITHOUT_A_SET),
    ],
)
def test_the_state_follows_from_the_traces_and_the_moment(known, open_state, closed_state):
    session = traces(**known)

    assert (state_at(session, CLOSES - MINUTE), state_at(session, CLOSES)) == (open_state, closed_state)


def test_a_session_is_late_strictly_after_its_start_and_the_grace():
    # Walk-through 10: published 09:00, grace 30 min; 09:30:00 is not late, 09:31 is.
    grace = timedelta(minutes=30)

    assert [is_late(traces(), START + after * MINUTE, grace) for after in (29, 30, 31)] == [False, False, True]


def test_what_has_begun_is_not_late():
    assert not is_late(traces(started_at=START + 72 * MINUTE), START + 80 * MINUTE, timedelta(minutes=30))


def test_what_will_not_happen_holds_nothing_and_what_nobody_knows_of_does():
    assert set(State) - HOLDS_NOTHING == {State.PUBLISHED, State.STARTED, State.DONE, State.NOT_RECORDED}
