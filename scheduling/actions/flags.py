"""Refreshing flags: right whenever it runs, however often, whoever asks."""

from collections.abc import Iterable

from django.db import transaction

from scheduling.flags import Refreshed, refresh


@transaction.atomic
def refresh_flags(*, building_ids: Iterable[int]) -> Refreshed:
    """Open, update and close the flags of these buildings as things stand now. The scope must hold them."""
    keys = sorted(set(building_ids))
    return refresh(keys) if keys else Refreshed(0, 0)
