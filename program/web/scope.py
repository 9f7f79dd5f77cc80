"""One transaction a request, in which the database shows the rows of the person's buildings and no others."""

from collections.abc import Callable

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from program.access import Reach, reach_of
from program.models.scoped import set_scope
from program.rules.errors import NotAllowed, Refused, Stale
from program.web.flags import ask_for_flags
from program.web.viewing import write_views

# Asked by machines every few seconds, without a person behind it: they open no transaction.
PROBES = {"/live", "/ready"}


class ScopeMiddleware:
    """Looks up the person's roles anew for every request: an ended role is dead at the next one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path in PROBES:
            return self.get_response(request)
        with transaction.atomic():
            self._open(request)
            response = self.get_response(request)
            if response.status_code >= 500:
                transaction.set_rollback(True)
            else:
                # A refused form shows the names again.
                write_views(request)
                if response.status_code < 400:
                    ask_for_flags(request)
        return response

    def _open(self, request: HttpRequest) -> None:
        user = request.user
        reach = reach_of(user) if user.is_authenticated else Reach()
        set_scope(
            reach.care,
            user_id=user.pk,
            request_id=getattr(request, "request_id", ""),
            is_administration=reach.is_administration,
            reported=reach.reported,
        )

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """A refusal that a page has not answered itself: its sentence, on a page of its own."""
        if not isinstance(error, Refused):
            return None
        return render(request, "refused.html", {"sentence": error.sentence}, status=status_of(error))


def status_of(error: Refused) -> int:
    """403 where the person may see but not do, 412 for a stale change, 422 for input, 409 for a clash with facts."""
    if isinstance(error, NotAllowed):
        return 403
    if isinstance(error, Stale):
        return 412
    return 422 if error.problem == "invalid" else 409
