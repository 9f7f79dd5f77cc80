"""How people sign in: by name or address and password. Nobody signs up by themselves."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.forms import LoginForm
from django.conf import settings
from django.http import HttpRequest

NOT_TOGETHER = "That name or address and that password do not go together. Try again, or ask your administrator."


class SignIn(DefaultAccountAdapter):
    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": NOT_TOGETHER,
        "username_password_mismatch": NOT_TOGETHER,
        "too_many_login_attempts": "Too many tries. Wait five minutes, then try again.",
    }

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        if settings.EMAIL_HOST:
            super().send_mail(template_prefix, email, context)

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
        if not settings.EMAIL_HOST:
            # No link could be sent.
            self.fields["password"].help_text = ""
