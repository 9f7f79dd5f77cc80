"""What a commitment keeps free around itself.

Common practice, no source; set by each building's clinician: the building's margin on either side, nothing around rest
and refused time, and the whole local day for dialysis.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from program.rules.week import local_instant

WITHOUT_MARGIN = frozenset({"rest", "refused time"})
WHOLE_DAY = frozenset({"dialysis"})


def default_margin(kind: str, building_minutes: int) -> int:
    """Minutes on either side."""
    return 0 if kind in WITHOUT_MARGIN else building_minutes


@dataclass(frozen=True, slots=True)
class Margins:
    """Minutes before and after; None is what is usual for the kind."""

    before: int | None = None
    after: int | None = None


def blocked(
    *, kind: str, starts_at: datetime, ends_at: datetime, zone: ZoneInfo, building_minutes: int, own: Margins
) -> tuple[datetime, datetime]:
    """From when until when nobody trains because of one commitment; its own margins go before those of its kind."""
    usual = default_margin(kind, building_minutes)
    blocks_from = starts_at - timedelta(minutes=usual if own.before is None else own.before)
    blocks_until = ends_at + timedelta(minutes=usual if own.after is None else own.after)
    if kind in WHOLE_DAY and own.before is None:
        blocks_from = local_instant(starts_at.astimezone(zone).date(), 0, zone)
    if kind in WHOLE_DAY and own.after is None:
        # The last instant, not the end: what ends at midnight does not take the day that begins then.
        last_day = (ends_at - timedelta(microseconds=1)).astimezone(zone).date()
        blocks_until = local_instant(last_day + timedelta(days=1), 0, zone)
    return blocks_from, blocks_until
