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
    is_published: bool = True


def state_at(traces: Traces, moment: datetime) -> State:
    """The state at `moment`, by the table of the design (4.6)."""
    written = (
        (traces.sets_done, State.DONE),
        (traces.withdrawn_at, State.WITHDRAWN),
        (traces.given_up_at, State.GIVEN_UP),
        (traces.ended_at, State.ENDED_WITHOUT_A_SET),
    )
    for trace, state in written:
        if trace:
            return state
    if not traces.is_published and not traces.started_at:
        # Nobody planned it and nothing is left of it: its lines belonged to somebody else.
        return State.ENDED_WITHOUT_A_SET
    return _closed(traces) if moment >= traces.day_closes_at else _open(traces)


def _open(traces: Traces) -> State:
    return State.STARTED if traces.started_at else State.PUBLISHED


def _closed(traces: Traces) -> State:
    if traces.started_at:
        return State.ENDED_WITHOUT_A_SET
    return State.MISSED if traces.attempted_at else State.NOT_RECORDED


def is_late(traces: Traces, moment: datetime, grace: timedelta) -> bool:
    """Whether a published session should have begun by now: strictly past planned start and grace."""
    return state_at(traces, moment) is State.PUBLISHED and moment > traces.starts_at + grace
