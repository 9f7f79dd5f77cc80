"""Programs that ask as a person: “Authorization: Bearer …” instead of a session."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from program.actions.tokens import use_token
from program.models import ApiToken, User

SCHEME = "Bearer "


class TokenMiddleware:
    """Finds out who asks before the database's scope is opened for them; a token counts for the API alone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.api_token = None
        sent = request.headers.get("Authorization", "")
        if request.path.startswith("/api/") and sent.startswith(SCHEME):
            request.api_token = use_token(text=sent.removeprefix(SCHEME))
            # Never the session's person: who sends a token asks as its person, or as nobody.
            request.user = request.api_token.user if request.api_token else AnonymousUser()
        return self.get_response(request)


class TokenAuthentication(BaseAuthentication):
    """Accepts what the middleware found, and refuses what it did not."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        if not request.headers.get("Authorization", "").startswith(SCHEME):
            return None
        token = request._request.api_token
        if token is None:
            raise AuthenticationFailed
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="service"'


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "program.web.tokens.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}
