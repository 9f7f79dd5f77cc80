"""What a start costs: an unusual time, the other half of the day, a commitment that would have to move."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from program.rules.opening import Stretch
from scheduling.load.weights import MOVES_A_COMMITMENT, OTHER_HALF_OF_THE_DAY, UNUSUAL_TIME
from scheduling.problem import Cost, CostWindow, Span

NOON = 12
# A start this near to one of the last weeks, on the same weekday, is the time that a resident is used to.
NEAR = timedelta(minutes=30)


def cost_of_starts(
    *,
    days: Sequence[Stretch],
    zone: ZoneInfo,
    length: timedelta,
    preferred_half: str,
    usual: Iterable[datetime],
    movable: Iterable[Span],
) -> Cost:
    """Costs by start over the openings of a week.

    `length` is how long a session lasts, `usual` the starts of earlier sessions brought to this week, `movable` the
    times of commitments that may be moved.
    """
    used_to = [Span(start - NEAR, start + NEAR) for start in usual]
    # A session that starts in here lies over the commitment; one that ends just when it begins does not.
    over = [Span(span.start - length + timedelta(microseconds=1), span.end) for span in movable]
    windows = []
    for day in days:
        noon = (
            day.start.astimezone(zone)
            .replace(hour=NOON, minute=0, second=0, microsecond=0)
            .astimezone(day.start.tzinfo)
        )
        edges = {day.start, day.end, noon} | {edge for span in [*used_to, *over] for edge in (span.start, span.end)}
        inside = sorted(edge for edge in edges if day.start <= edge <= day.end)
        for start, end in pairwise(inside):
            cost = UNUSUAL_TIME if used_to and not _holds(used_to, start) else 0
            cost += OTHER_HALF_OF_THE_DAY if _is_other_half(start, noon, preferred_half) else 0
            cost += MOVES_A_COMMITMENT if _holds(over, start) else 0
            if cost:
                windows.append(CostWindow(start, end, cost))
    return Cost(0, tuple(windows))


def _holds(spans: Iterable[Span], start: datetime) -> bool:
    return any(span.start <= start < span.end for span in spans)


def _is_other_half(start: datetime, noon: datetime, preferred_half: str) -> bool:
    if not preferred_half:
        return False
    return (start >= noon) == (preferred_half == "morning")
