"""What a commitment keeps free around itself.

Common practice, no source; set by each building's clinician: the building's margin on either side, nothing around rest
and refused time, and the whole local day for dialysis.
"""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from program.rules.week import local_instant

WITHOUT_MARGIN = frozenset({"rest", "refused time"})
WHOLE_DAY = frozenset({"dialysis"})


def default_margin(kind: str, building_minutes: int) -> int:
    """Minutes on either side."""
    return 0 if kind in WITHOUT_MARGIN else building_minutes


def blocked(
    *,
    kind: str,
    starts_at: datetime,
    ends_at: datetime,
    zone: ZoneInfo,
    building_minutes: int,
    before_minutes: int | None = None,
    after_minutes: int | None = None,
) -> tuple[datetime, datetime]:
    """From when until when nobody trains because of one commitment; a margin given for it goes before its kind's own."""
    usual = default_margin(kind, building_minutes)
    blocks_from = starts_at - timedelta(minutes=usual if before_minutes is None else before_minutes)
    blocks_until = ends_at + timedelta(minutes=usual if after_minutes is None else after_minutes)
    if kind in WHOLE_DAY:
        if before_minutes is None:
            blocks_from = local_instant(starts_at.astimezone(zone).date(), 0, zone)
        if after_minutes is None:
            # The last instant, not the end: what ends at midnight does not take the day that begins then.
            last_day = (ends_at - timedelta(microseconds=1)).astimezone(zone).date()
            blocks_until = local_instant(last_day + timedelta(days=1), 0, zone)
    return blocks_from, blocks_until
