"""How long one stays signed in: by the service's own clock, and dead at the next request."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse

from program import clock
from program.access import ADMINISTRATOR, STAFF, Held, held_by

# NIST SP 800-63B, 4.2.3: at most 12 hours, and 30 minutes without a sign of life. A phone on the floor, which sees
# what staff see and no more, lies idle through lunch; a desk from which every way in can be opened does not.
LONGEST = timedelta(hours=12)
IDLE_AT_A_DESK, IDLE_ON_THE_FLOOR = timedelta(minutes=30), timedelta(hours=4)
IDLE_OF_ADMINISTRATORS = timedelta(minutes=15)
RECENTLY = timedelta(minutes=15)
# Being seen is written at most so often; nobody is signed out later for it, at most a minute sooner.
SEEN_EVERY = timedelta(minutes=1)


def held_of(request: HttpRequest) -> Held:
    """What the asking person holds now; asked once a request."""
    held = request.__dict__.get("held")
    if held is None:
        held = request.held = held_by(request.user)
    return held


def kinds_of(request: HttpRequest) -> frozenset[str]:
    return held_of(request).kinds


def begin_session(request: HttpRequest) -> None:
    moment = clock.now().timestamp()
    request.session["signed_in_at"] = request.session["seen_at"] = moment


def signed_in_recently(request: HttpRequest) -> bool:
    return clock.now() - _moment(request, "signed_in_at") < RECENTLY


class SessionLimitMiddleware:
    """Ends a session that is over before anything is read for it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated and not getattr(request, "api_token", None):
            if "signed_in_at" not in request.session:
                begin_session(request)
            elif is_over(request):
                logout(request)
            elif clock.now() - _moment(request, "seen_at") >= SEEN_EVERY:
                request.session["seen_at"] = clock.now().timestamp()
        return self.get_response(request)


def is_over(request: HttpRequest) -> bool:
    now, began, seen = clock.now(), _moment(request, "signed_in_at"), _moment(request, "seen_at")
    ended = request.user.signed_out_at
    if now - began >= LONGEST or (ended is not None and began < ended):
        return True
    # The shortest there is asks nothing of the database.
    return now - seen >= IDLE_OF_ADMINISTRATORS and now - seen >= _longest_idle(request)


def _longest_idle(request: HttpRequest) -> timedelta:
    kinds = kinds_of(request)
    if ADMINISTRATOR in kinds:
        return IDLE_OF_ADMINISTRATORS
    return IDLE_ON_THE_FLOOR if kinds == {STAFF} else IDLE_AT_A_DESK


def _moment(request: HttpRequest, name: str) -> datetime:
    return datetime.fromtimestamp(request.session.get(name, 0), UTC)
