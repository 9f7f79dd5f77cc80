"""The sign-in with the guard taken out; and what its time is spent on, counted instead of measured."""

from allauth.account.adapter import DefaultAccountAdapter
from django.contrib.auth.hashers import MD5PasswordHasher

from tests.promises.guessing import CHECKED


class Unguarded(DefaultAccountAdapter):
    """Counts nothing."""

    error_messages = DefaultAccountAdapter.error_messages | {"username_password_mismatch": CHECKED}

    def pre_authenticate(self, request: object, **credentials: object) -> None:
        """Lets every try pass."""


class CountedHasher(MD5PasswordHasher):
    algorithm = "counted"
    times = 0

    def encode(self, password: str, salt: str) -> str:
        CountedHasher.times += 1
        return super().encode(password, salt)
