"""Done of published: a share with its interval, or a range where too much is not recorded."""

from collections.abc import Iterable, Mapping
from typing import Any

from reports.statistics import pooled, share, wilson

# Design 4.7: above this part not recorded, attendance is a range from none of them done to all of them done.
RANGE_ABOVE_PERCENT = 5
DIGITS = 6


def attendance(*, done: int, published: int, not_recorded: int) -> dict[str, Any]:
    """In the agreed shape. A range is compared by its lower end, and its interval reaches round both ends."""
    is_range = 100 * not_recorded > RANGE_ABOVE_PERCENT * published
    most = done + not_recorded if is_range else done
    low, high = wilson(done, published), wilson(most, published)
    return {
        "done": done,
        "published": published,
        "not_recorded": not_recorded,
        "share": rounded(share(done, published)),
        "low": rounded(low.low if low else None),
        "high": rounded(high.high if high else None),
        "is_range": is_range,
        "least": rounded(share(done, published)) if is_range else None,
        "most": rounded(share(most, published)) if is_range else None,
    }


def pooled_attendance(attendances: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Many buildings as one: Σ done of Σ published, never a mean of shares."""
    there = list(attendances)
    done, published = pooled((one["done"], one["published"]) for one in there)
    return attendance(done=done, published=published, not_recorded=sum(one["not_recorded"] for one in there))


def rounded(value: float | None) -> float | None:
    return None if value is None else round(value, DIGITS)
