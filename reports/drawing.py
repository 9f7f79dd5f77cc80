"""Where the marks of a report's pictures lie: numbers on axes that all rows of a page share; the words stand beside."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

# A picture of shares is 216 wide: 0 % at 8 and 100 % at 208, so that a dot at either end is drawn whole.
LEFT: Final = 8.0
SPAN: Final = 200.0
# A bar of completion, and a week's bar, fill 120 at most.
BAR: Final = 120.0


def along(share: float) -> float:
    """Where a share (0 to 1) lies on the axis of shares."""
    return round(LEFT + SPAN * share, 1)


@dataclass(frozen=True, slots=True)
class ShareMarks:
    """A dot with its 95 % interval; for a range no dot, but a hollow bar from the least to the most."""

    low: float
    high: float
    dot: float | None = None
    least: float | None = None
    width: float | None = None


def share_marks(attendance: Mapping[str, Any]) -> ShareMarks | None:
    """None where nothing was published: no share, so nothing to draw."""
    if attendance["share"] is None:
        return None
    low, high = along(attendance["low"]), along(attendance["high"])
    if not attendance["is_range"]:
        return ShareMarks(low, high, dot=along(attendance["share"]))
    least, most = along(attendance["least"]), along(attendance["most"])
    return ShareMarks(low, high, least=least, width=round(most - least, 1))


@dataclass(frozen=True, slots=True)
class RatioBar:
    """How long the bar is, and where 100 % stands; a ratio may pass it."""

    width: float
    whole: float


def top_of(ratios: Iterable[float | None]) -> float:
    """The end of the axis that these ratios share: 1, or the next quarter above the largest."""
    return max([1.0, *(math.ceil(ratio * 4) / 4 for ratio in ratios if ratio is not None)])


def ratio_bar(ratio: float | None, top: float) -> RatioBar | None:
    if ratio is None:
        return None
    return RatioBar(width=round(BAR * ratio / top, 1), whole=round(BAR / top, 1))


@dataclass(frozen=True, slots=True)
class Part:
    kind: str
    x: float
    width: float


WEEK_PARTS: Final = (("done", "done"), ("missed", "missed"), ("not_recorded", "not-recorded"))


def week_bars(weeks: Sequence[Mapping[str, Any]]) -> list[list[Part]]:
    """For each week its done, missed and not recorded sessions end to end, on one scale for all weeks."""
    most = max((sum(week[key] for key, _ in WEEK_PARTS) for week in weeks), default=0)
    return [_parts(week, BAR / most if most else 0.0) for week in weeks]


def _parts(week: Mapping[str, Any], unit: float) -> list[Part]:
    parts, x = [], 0.0
    for key, kind in WEEK_PARTS:
        width = week[key] * unit
        if width:
            parts.append(Part(kind, round(x, 1), round(width, 1)))
        x += width
    return parts
