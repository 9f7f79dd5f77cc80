"""Signing in for tests: without a password, and with the second step where the person's role needs it."""

from allauth.mfa.models import Authenticator
from django.test import Client

from program import clock
from program.access import held_by
from program.actions.second_factors import code_of, give_second_factor, secret_of, step_now
from program.models import User


def sign_in(client: Client, user: User) -> None:
    """A session as the sign-in pages make it, a moment old."""
    client.force_login(user)
    session = client.session
    session["signed_in_at"] = session["seen_at"] = clock.now().timestamp()
    if held_by(user).needs_second_factor:
        factor = give_second_factor(user=user)
        session["account_authentication_methods"] = [{"method": "mfa", "at": 0, "id": factor.pk, "type": factor.type}]
        session["account_authentication_methods_user"] = str(user.pk)
    session.save()


def code_now(user: User) -> str:
    """What the person's authenticator app shows."""
    factor = Authenticator.objects.get(user=user, type=Authenticator.Type.TOTP)
    return code_of(secret_of(factor), step_now())
