"""Whoever needs a second factor does nothing without one: neither by a page nor by the API."""

from collections.abc import Callable

from allauth.account.internal.flows.login import get_authentication_records
from allauth.mfa.models import Authenticator
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.urls import reverse

from program.web.problems import MEDIA_TYPE, Problem, body_of
from program.web.sessions import held_of

# Where one may be without it: the way in itself, and what is public anyway.
FREE = ("/account/", "/welcome/", "/problems/", "/live", "/ready")
MISSING = "Set up a second factor first: sign in on the website, and follow what it says."


class SecondFactorMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.user.is_authenticated or not held_of(request).needs_second_factor:
            return self.get_response(request)
        factor = second_factor_of(request)
        if factor is None:
            return self.get_response(request) if request.path.startswith(FREE) else _refusal(request)
        if not request.api_token and not is_signed_in_with(request, factor):
            # What was signed in with a password alone, before there was a second factor, is not signed in.
            logout(request)
        return self.get_response(request)


def second_factor_of(request: HttpRequest) -> Authenticator | None:
    return Authenticator.objects.filter(user=request.user, type=Authenticator.Type.TOTP).defer("data").first()


def is_signed_in_with(request: HttpRequest, factor: Authenticator) -> bool:
    """Whether this session was made with the second factor, or with a recovery code in its place."""
    return any(
        record["method"] == "mfa" and (record.get("type") != factor.type or record.get("id") == factor.pk)
        for record in get_authentication_records(request, request.user)
    )


def _refusal(request: HttpRequest) -> HttpResponse:
    if request.path.startswith("/api/"):
        problem = Problem("second-factor-missing", 403, MISSING)
        body = body_of(problem, getattr(request, "request_id", ""))
        return JsonResponse(body, status=403, content_type=MEDIA_TYPE)
    return HttpResponseRedirect(reverse("mfa_activate_totp"))
