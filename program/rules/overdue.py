"""How long somebody in the programme has gone without a session, time on hold or away left out."""

from collections.abc import Iterable
from datetime import datetime, timedelta

# A stretch in which the clock stands still; None is open-ended.
Pause = tuple[datetime, datetime | None]


def time_without_session(since: datetime, moment: datetime, pauses: Iterable[Pause]) -> timedelta:
    """Elapsed time from `since` to `moment` that lies in no pause; pauses may overlap each other."""
    counted, reached = timedelta(0), since
    for start, end in sorted(pauses, key=lambda pause: pause[0]):
        counted += max(min(start, moment) - reached, timedelta(0))
        reached = max(reached, min(end or moment, moment))
    return counted + max(moment - reached, timedelta(0))


def is_overdue(since: datetime, moment: datetime, pauses: Iterable[Pause], limit: timedelta) -> bool:
    """Strictly more than the building's limit."""
    return time_without_session(since, moment, pauses) > limit
