"""The state of a session at a moment: computed from what stands on its row, never stored."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum


class State(StrEnum):
    PUBLISHED = "published"
    STARTED = "started"
    DONE = "done"
    GIVEN_UP = "given up"
    WITHDRAWN = "withdrawn"
    ENDED_WITHOUT_A_SET = "ended without a set"
    MISSED = "missed"
    NOT_RECORDED = "not recorded"


# Neither the person's span nor the stations are held any longer.
HOLDS_NOTHING = frozenset({State.GIVEN_UP, State.WITHDRAWN, State.ENDED_WITHOUT_A_SET, State.MISSED})


@dataclass(frozen=True, slots=True)
class Traces:
    """What is known of a session: planned times, when its day closes, and what was written about it."""

    starts_at: datetime
    day_closes_at: datetime
    started_at: datetime | None = None
    sets_done: int = 0
    ended_at: datetime | None = None
    attempted_at: datetime | None = None
    given_up_at: datetime | None = None
    withdrawn_at: datetime | None = None


def state_at(traces: Traces, moment: datetime) -> State:
    """The state at `moment`, by the table of the design (4.6)."""
    if traces.sets_done:
        return State.DONE
    if traces.withdrawn_at:
        return State.WITHDRAWN
    if traces.given_up_at:
        return State.GIVEN_UP
    if traces.ended_at:
        return State.ENDED_WITHOUT_A_SET
    has_closed = moment >= traces.day_closes_at
    if traces.started_at:
        return State.ENDED_WITHOUT_A_SET if has_closed else State.STARTED
    if has_closed:
        return State.MISSED if traces.attempted_at else State.NOT_RECORDED
    return State.PUBLISHED


def is_late(traces: Traces, moment: datetime, grace: timedelta) -> bool:
    """Whether a published session should have begun by now: strictly past planned start and grace."""
    return state_at(traces, moment) is State.PUBLISHED and moment > traces.starts_at + grace
