"""Refreshing flags: right whenever it runs, however often, whoever asks."""

from collections.abc import Iterable

from django.db import transaction

from program import clock
from scheduling.flags import Refreshed, refresh


@transaction.atomic
def refresh_flags(*, building_ids: Iterable[int]) -> Refreshed:
    """Open, update and close the flags of these buildings as things stand now. The scope must hold them."""
    keys = sorted(set(building_ids))
    return refresh(keys, clock.now()) if keys else Refreshed(0, 0)
