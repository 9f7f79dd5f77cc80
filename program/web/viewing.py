"""What has been looked at: one line of the trail for every request that shows residents' data."""

from collections import defaultdict
from collections.abc import Iterable

from django.db import connection
from django.http import HttpRequest

from program.models import Resident


def viewed(request: HttpRequest, what: str, residents: Iterable[Resident]) -> None:
    """Say that the answer shows these residents; written when the request has succeeded."""
    note_viewed(request, what, ((resident.building_id, resident.pk) for resident in residents))


def note_viewed(request: HttpRequest, what: str, keys: Iterable[tuple[int, int]]) -> None:
    """As `viewed`, for (building id, resident id) pairs."""
    # DRF wraps the request; the middleware sees the one inside.
    inner = getattr(request, "_request", request)
    seen = inner.__dict__.setdefault("viewed", {})
    for building_id, resident_id in keys:
        seen.setdefault(what, defaultdict(set))[building_id].add(resident_id)


def write_views(request: HttpRequest) -> None:
    with connection.cursor() as cursor:
        for what, by_building in request.__dict__.get("viewed", {}).items():
            for building_id, resident_ids in by_building.items():
                cursor.execute("SELECT write_view(%s, %s, %s)", [building_id, what, sorted(resident_ids)])
