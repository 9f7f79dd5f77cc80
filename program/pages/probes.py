"""What machines ask: is the process alive, and can it serve."""

from django.contrib.auth.decorators import login_not_required
from django.core.cache import cache
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from redis.exceptions import RedisError


@login_not_required
def live(request: HttpRequest) -> JsonResponse:
    """The process answers: it asks nothing of the database, so that a database that is away restarts nobody."""
    return JsonResponse({"live": True})


@login_not_required
def ready(request: HttpRequest) -> JsonResponse:
    """200 when the database and the queue answer; 503 takes this process out of the traffic until they do."""
    parts = {"database": _database_answers(), "queue": _queue_answers()}
    return JsonResponse(parts, status=200 if all(parts.values()) else 503)


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return False
    return True


def _queue_answers() -> bool:
    try:
        cache.get("ready")
    except RedisError:
        return False
    return True
