"""The sign-in with the guard taken out."""

from allauth.account.adapter import DefaultAccountAdapter

from tests.promises.guessing import CHECKED


class Unguarded(DefaultAccountAdapter):
    """Counts nothing."""

    error_messages = DefaultAccountAdapter.error_messages | {"username_password_mismatch": CHECKED}

    def pre_authenticate(self, request: object, **credentials: object) -> None:
        """Lets every try pass."""
