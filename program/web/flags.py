"""What people must look at follows from what has just changed: ask for it once the change is committed."""

import logging
from collections.abc import Collection
from functools import partial

from celery import current_app
from django.db import transaction
from django.http import HttpRequest
from kombu.exceptions import OperationalError

log = logging.getLogger(__name__)

# Known by its name only: flags belong to a package above.
REFRESH = "scheduling.tasks.refresh_flags"
SAFE = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})


def note_changed(request: HttpRequest, building_ids: Collection[int]) -> None:
    """Say that the request changed something in these buildings."""
    # DRF wraps the request; the middleware sees the one inside.
    inner = getattr(request, "_request", request)
    inner.__dict__.setdefault("changed", set()).update(building_ids)


def ask_for_flags(request: HttpRequest) -> None:
    """After a request that changed something, in a page of a building or by the API."""
    changed = set(request.__dict__.get("changed", ()))
    building = getattr(request, "building", None)
    if request.method in SAFE or not (changed or building):
        return
    transaction.on_commit(partial(_send, sorted(changed or {building.pk})))


def _send(building_ids: list[int]) -> None:
    try:
        current_app.send_task(REFRESH, args=[building_ids], retry=False)
    except OperationalError:
        # The change is kept; the next beat refreshes all flags within a minute.
        log.warning("The queue was not reached; flags follow with the next beat.")
