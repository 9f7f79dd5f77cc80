"""Second factors: codes that work once, and what happens to sessions when a factor comes or goes."""

from allauth.core.internal.cryptokit import compare_user_code
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from allauth.mfa.utils import decrypt
from allauth.usersessions.models import UserSession
from django.db import transaction

from program import clock
from program.actions.sign_in_events import note_event
from program.actions.tokens import end_tokens_of
from program.models import SignInEvent, Tries, User

STEP_SECONDS = 30
# A phone's clock may be a little off (RFC 6238, 5.2: at most one step is recommended).
NEIGHBOURS = (0, -1, 1)


def step_now() -> int:
    return int(clock.now().timestamp()) // STEP_SECONDS


def code_of(secret: str, step: int) -> str:
    return str(format_hotp_value(hotp_value(secret, step)))


def step_of(*, secret: str, code: str) -> int | None:
    """The step that the code belongs to, if that is now or beside it."""
    now = step_now()
    steps = (now + off for off in NEIGHBOURS)
    return next((step for step in steps if compare_user_code(actual=code, expected=code_of(secret, step))), None)


def take_step(*, user: User, step: int) -> bool:
    """Whether no code of this step or a later one has been used; from now on it has. Decided by one row's lock."""
    Tries.objects.bulk_create([Tries(user=user)], ignore_conflicts=True)
    return bool(Tries.objects.filter(user=user, last_step__lt=step).update(last_step=step))


def secret_of(authenticator: Authenticator) -> str:
    return str(decrypt(authenticator.data["secret"]))


def use_code(*, user: User, code: str) -> Authenticator | None:
    """The authenticator that the code is right for, which then never takes it again; None if it is right for none."""
    for authenticator in Authenticator.objects.filter(user=user).order_by("-type"):
        if authenticator.type == Authenticator.Type.TOTP:
            step = step_of(secret=secret_of(authenticator), code=code)
            if step is not None and take_step(user=user, step=step):
                return authenticator
        elif authenticator.type == Authenticator.Type.RECOVERY_CODES and RecoveryCodes(authenticator).validate_code(
            code
        ):
            return authenticator
    return None


@transaction.atomic
def give_second_factor(*, user: User) -> Authenticator:
    """An authenticator app with a secret made at random, and recovery codes, where the person has none."""
    found = Authenticator.objects.filter(user=user, type=Authenticator.Type.TOTP).first()
    if found is None:
        found = TOTP.activate(user, generate_totp_secret()).instance
        RecoveryCodes.activate(user)
    return found


@transaction.atomic
def reset_second_factor(*, user: User, by: User) -> None:
    """Take it away where it is lost, with the sessions and tokens made with it; the person sets up a new one."""
    Authenticator.objects.filter(user=user).delete()
    end_tokens_of(user=user, by=by)
    _end_sessions(user)
    note_event(user=user, kind=SignInEvent.Kind.FACTOR_RESET, by=by)


@transaction.atomic
def note_factor_ended(*, user: User) -> None:
    """The person has taken it away by themselves: tokens, which are only made with it, end as well."""
    end_tokens_of(user=user, by=user)
    note_event(user=user, kind=SignInEvent.Kind.FACTOR_ENDED, by=user)


@transaction.atomic
def end_sessions(*, user: User, by: User) -> None:
    """Dead at the next request, on every device, and in every program that asks with a token."""
    end_tokens_of(user=user, by=by)
    _end_sessions(user)
    note_event(user=user, kind=SignInEvent.Kind.SESSIONS_ENDED, by=by)


def _end_sessions(user: User) -> None:
    user.signed_out_at = clock.now()
    user.save(update_fields=["signed_out_at"])
    for session in UserSession.objects.filter(user=user):
        session.end()
