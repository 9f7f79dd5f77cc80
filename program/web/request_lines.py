"""One line in the log for each request: its id, who, which kind of address, what came of it; never what was sent."""

import time
from collections.abc import Callable
from typing import Any

import structlog
from django.http import HttpRequest, HttpResponse

from program.web.scope import PROBES

log = structlog.get_logger(__name__)


class RequestLinesMiddleware:
    """Beneath RequestIdMiddleware. What it binds stands in every line of the request and of the tasks it causes."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        started = time.perf_counter()
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request.request_id)
        try:
            response = self.get_response(request)
            write = log.error if response.status_code >= 500 else log.debug if request.path in PROBES else log.info
            write(
                "request",
                method=request.method,
                status=response.status_code,
                milliseconds=round((time.perf_counter() - started) * 1000),
            )
        finally:
            # The thread goes on to serve somebody else.
            structlog.contextvars.clear_contextvars()
        return response

    def process_view(self, request: HttpRequest, *_view: Any) -> None:
        """Here the person is known, and the address as it is written in the table of addresses, without its keys."""
        user_id = None if request.path in PROBES else request.user.pk
        structlog.contextvars.bind_contextvars(route=request.resolver_match.route, user_id=user_id)


def bound_request_id() -> str:
    """The id of the request that this process works for, also in a task that the request caused; else empty."""
    return str(structlog.contextvars.get_contextvars().get("request_id", ""))
