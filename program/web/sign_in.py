"""How people sign in: by name or address and password. Nobody signs up by themselves."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.forms import LoginForm
from django.http import HttpRequest


class SignIn(DefaultAccountAdapter):
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def get_user_search_fields(self) -> list[str]:
        return ["username", "name", "email"]

    def populate_username(self, request: HttpRequest, user: Any) -> None:
        """Names are given by an administrator, never made up."""


class SignInForm(LoginForm):
    """Asks in the words of people, not of programs."""

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["login"].label = "Name or e-mail address"
