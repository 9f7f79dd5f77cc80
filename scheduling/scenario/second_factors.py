"""The second step of the demo's people: authenticator apps without a phone, whose codes a command shows."""

from collections.abc import Iterable

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes

from program.access import NEEDS_SECOND_FACTOR, kinds_held
from program.actions.second_factors import code_of, give_second_factor, secret_of, step_now
from program.models import User


def give_second_factors(users: Iterable[User]) -> None:
    """To those whose role needs one and who have none; secrets are made by chance and kept in the database alone."""
    for user in users:
        if kinds_held(user) & NEEDS_SECOND_FACTOR:
            give_second_factor(user=user)


def recovery_codes_of(user: User) -> list[str]:
    """Those that are left; none for somebody who signs in without a second step."""
    kept = Authenticator.objects.filter(user=user, type=Authenticator.Type.RECOVERY_CODES).first()
    return list(RecoveryCodes(kept).get_unused_codes()) if kept else []


def present_code_of(user: User) -> str | None:
    """What the person's authenticator app would show now."""
    app = Authenticator.objects.filter(user=user, type=Authenticator.Type.TOTP).first()
    return code_of(secret_of(app), step_now()) if app else None
