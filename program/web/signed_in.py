"""Who is not signed in is asked to; what they had just sent is not done, and they come back to where they were."""

from typing import Any
from urllib.parse import urlsplit

from django.contrib import messages
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.utils.http import url_has_allowed_host_and_scheme

SAFE = {"GET", "HEAD"}
NOT_DONE = "The sign-in had ended, so the last thing was not saved. Look at what is there now, and do it again."


class SignedInMiddleware(LoginRequiredMiddleware):
    """A form that was sent leads back to the page it stood on: its own address may have nothing to look at."""

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> HttpResponse:
        if request.method in SAFE:
            return super().handle_no_permission(request, view_func)
        messages.warning(request, NOT_DONE)
        return redirect_to_login(_page_before(request), self.get_login_url(view_func))


def _page_before(request: HttpRequest) -> str:
    before = request.headers.get("Referer", "")
    is_ours = url_has_allowed_host_and_scheme(before, {request.get_host()}, require_https=request.is_secure())
    return urlsplit(before).path if is_ours and urlsplit(before).path else "/"
