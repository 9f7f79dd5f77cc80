"""How long after it happened something was written down."""

from collections.abc import Sequence
from datetime import datetime, timedelta

# Common practice, no source: what is written within the hour was written at the station.
AT_ONCE = timedelta(hours=1)


def late_entry(happened_at: datetime, entered_at: datetime) -> timedelta | None:
    """The delay of a late entry, None for what was written at once."""
    delay = entered_at - happened_at
    return delay if delay > AT_ONCE else None


def hours_and_minutes(span: timedelta) -> str:
    """`29 h 30 min`, `45 min`, `2 h`: whole minutes, rounded down."""
    hours, minutes = divmod(int(span.total_seconds()) // 60, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def set_ends(started_at: datetime, ended_at: datetime, seconds: Sequence[int]) -> list[datetime]:
    """When sets of so many seconds ended, spread evenly over a visit of which only start and end are known.

    The sets must fit into the visit; then none begins before it and the last ends with it, to the second.
    """
    free = ended_at - started_at - timedelta(seconds=sum(seconds))
    done, ends = 0, []
    for number, length in enumerate(seconds, start=1):
        done += length
        gaps = timedelta(seconds=int(free.total_seconds()) * number // len(seconds))
        ends.append(started_at + timedelta(seconds=done) + gaps)
    return ends
