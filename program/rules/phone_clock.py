"""A phone's clock may be wrong: what it told, in our time."""

from datetime import datetime, timedelta

# A sending takes a moment, and so small a difference decides nothing.
TRUSTED = timedelta(minutes=2)


def corrected(
    happened_at: datetime, *, sent_at: datetime, received_at: datetime, not_before: datetime | None = None
) -> datetime:
    """`happened_at`, told by the clock that read `sent_at` when we received it at `received_at`.

    Never after the receipt; never before `not_before`, the start of the session, where that is known.
    """
    off = received_at - sent_at
    moment = happened_at + off if abs(off) > TRUSTED else happened_at
    if not_before is not None:
        moment = max(moment, not_before)
    return min(moment, received_at)
