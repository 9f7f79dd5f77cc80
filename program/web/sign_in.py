"""How people sign in: by name or address and password. Nobody signs up by themselves."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class SignIn(DefaultAccountAdapter):
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def get_user_search_fields(self) -> list[str]:
        return ["username", "name", "email"]

    def populate_username(self, request: HttpRequest, user: Any) -> None:
        """Names are given by an administrator, never made up."""
