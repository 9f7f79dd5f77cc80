"""What the lines about a session add up to, in whatever order and however often they arrived."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True, slots=True)
class Line:
    """A record that counts: what kind, and when it happened."""

    kind: str
    happened_at: datetime


@dataclass(frozen=True, slots=True)
class DoneSet:
    """A set that counts: when it ended and how long it took."""

    ended_at: datetime
    seconds: int


@dataclass(frozen=True, slots=True)
class Happened:
    """The columns of a session that follow from its lines."""

    started_at: datetime | None = None
    sets_done: int = 0
    last_set_ended_at: datetime | None = None
    ended_at: datetime | None = None
    attempted_at: datetime | None = None
    given_up_at: datetime | None = None
    withdrawn_at: datetime | None = None


def what_happened(lines: Iterable[Line], sets: Iterable[DoneSet]) -> Happened:
    """The start is the earliest told, or implied by the sets where none is; nothing ends before it.

    A set of a clock that is behind counts as ended at the start, so that it gives no recovery away.
    """
    lines, sets = list(lines), list(sets)
    told = [line.happened_at for line in lines if line.kind == "started"]
    implied = [done.ended_at - timedelta(seconds=done.seconds) for done in sets]
    started_at = min(told or implied, default=None)
    last_set_ended_at = max((done.ended_at for done in sets), default=None)
    if last_set_ended_at is not None and started_at is not None:
        last_set_ended_at = max(last_set_ended_at, started_at)
    ended_at = _latest(lines, "ended")
    if ended_at is not None:
        ended_at = max(filter(None, [ended_at, started_at, last_set_ended_at]))
    return Happened(
        started_at=started_at,
        sets_done=len(sets),
        last_set_ended_at=last_set_ended_at,
        ended_at=ended_at,
        attempted_at=_latest(lines, "attempt"),
        given_up_at=_latest(lines, "given up"),
        withdrawn_at=_latest(lines, "withdrawn"),
    )


def _latest(lines: Iterable[Line], kind: str) -> datetime | None:
    return max((line.happened_at for line in lines if line.kind == kind), default=None)
