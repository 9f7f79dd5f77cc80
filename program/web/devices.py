"""Devices that a person has signed in on: whoever guesses from elsewhere cannot lock the person out there."""

import secrets
from typing import Any

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac

from program.models import User

COOKIE = "__Host-device" if settings.HTTPS else "device"
SALT = "known device"
KEPT_SECONDS = 180 * 24 * 60 * 60
# One desk, several colleagues.
MOST_PEOPLE = 8


def device_of(request: HttpRequest, user: User) -> str | None:
    """What this device is called for the person, if they have signed in on it since their password was set."""
    device, mark = _known(request).get(str(user.pk), (None, None))
    return device if mark == _mark_of(user) else None


def remember_device(request: HttpRequest, response: HttpResponse, user: User) -> None:
    known = _known(request)
    device = device_of(request, user) or secrets.token_urlsafe(12)
    known.pop(str(user.pk), None)
    known[str(user.pk)] = (device, _mark_of(user))
    latest = dict(list(known.items())[-MOST_PEOPLE:])
    response.set_cookie(
        COOKIE,
        signing.dumps(latest, salt=SALT),
        max_age=KEPT_SECONDS,
        httponly=True,
        secure=settings.HTTPS,
        samesite="Lax",
    )


def _known(request: HttpRequest) -> dict[str, Any]:
    try:
        return signing.loads(request.COOKIES.get(COOKIE, ""), salt=SALT, max_age=KEPT_SECONDS)
    except signing.BadSignature:
        return {}


def _mark_of(user: User) -> str:
    """Another one after every change of the password."""
    return salted_hmac(SALT, user.password, algorithm="sha256").hexdigest()[:16]
