"""How long one stays signed in: by the service's own clock, and dead at the next request."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse

from program import clock
from program.access import STAFF, kinds_held

# NIST SP 800-63B, 4.2.3: at most 12 hours, and 30 minutes without a sign of life. A phone on the floor, which sees
# the sessions of one building only, lies idle through lunch.
LONGEST = timedelta(hours=12)
IDLE_AT_A_DESK, IDLE_ON_THE_FLOOR = timedelta(minutes=30), timedelta(hours=4)
RECENTLY = timedelta(minutes=15)
# Being seen is written at most so often; nobody is signed out later for it, at most a minute sooner.
SEEN_EVERY = timedelta(minutes=1)


def kinds_of(request: HttpRequest) -> frozenset[str]:
    """The kinds of role the asking person holds now; asked once a request."""
    held = request.__dict__.get("kinds_held")
    if held is None:
        held = request.kinds_held = kinds_held(request.user)
    return held


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
    if now - seen < IDLE_AT_A_DESK:
        return False
    return now - seen >= (IDLE_ON_THE_FLOOR if kinds_of(request) == {STAFF} else IDLE_AT_A_DESK)


def _moment(request: HttpRequest, name: str) -> datetime:
    return datetime.fromtimestamp(request.session.get(name, 0), UTC)
