"""Headers on every answer, whoever made it: never stored by a cache, and a number to ask about it by."""

import re
from collections.abc import Callable
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse

POLICY = "; ".join(
    f"{name} {' '.join(sources)}" for name, sources in settings.CONTENT_SECURITY_POLICY["DIRECTIVES"].items()
)
KNOWN_ID = re.compile(r"[A-Za-z0-9-]{8,64}")


class ArmourMiddleware:
    """Outermost, so that error pages and refused requests carry the same armour as the rest."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
        response.headers.setdefault("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
        if not request.path.startswith(f"/{settings.STATIC_URL.strip('/')}/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response


class RequestIdMiddleware:
    """Every request has an id: in the answer, in the trail and in the logs."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        sent = request.headers.get("X-Request-Id", "")
        request.request_id = sent if KNOWN_ID.fullmatch(sent) else str(uuid4())
        response = self.get_response(request)
        response.headers["X-Request-Id"] = request.request_id
        return response
