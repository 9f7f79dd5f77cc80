"""Shares and how sure they are, in plain floats."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Interval:
    """Both ends of a share, 0 to 1."""

    low: float
    high: float


def share(count: int, total: int) -> float | None:
    """None where there is nothing to take a share of: nothing published is no share, not zero."""
    return count / total if total else None


def wilson(count: int, total: int, *, confidence: float = CONFIDENCE) -> Interval | None:
    """The score interval without continuity correction (Wilson 1927; Newcombe 1998, method 3); None for 0 of 0."""
    if not 0 <= count <= total:
        raise ValueError(f"{count} of {total} is not a share.")
    if total == 0:
        return None
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    middle = 2 * count + z * z
    spread = z * sqrt(z * z + 4 * count * (1 - count / total))
    below = 2 * (total + z * z)
    # None of them and all of them are ends by definition, whatever the last digit of a float says.
    low = 0.0 if count == 0 else (middle - spread) / below
    high = 1.0 if count == total else (middle + spread) / below
    return Interval(low, high)


def pooled(shares: Iterable[tuple[int, int]]) -> tuple[int, int]:
    """(Σ count, Σ total): a region is one big building, never the mean of its shares."""
    counts, totals = 0, 0
    for count, total in shares:
        counts, totals = counts + count, totals + total
    return counts, totals


def mean(values: Iterable[float]) -> float | None:
    """None where there are none."""
    there = list(values)
    return sum(there) / len(there) if there else None
