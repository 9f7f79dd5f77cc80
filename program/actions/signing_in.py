"""Ways in: one-time links, passwords, and the count of wrong tries."""

import secrets
from datetime import timedelta
from hashlib import sha256

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F

from program import clock
from program.actions.changing import as_refusal, make
from program.models import Link, SignInEvent, Tries, User
from program.models.signing_in import MOST_WRONG_BY_STRANGERS, MOST_WRONG_IN_A_ROW
from program.rules.errors import Refused

LINK_LIVES = timedelta(hours=72)
NO_LONGER = "This link no longer works: it has been used, is too old, or was replaced. Ask your administrator for one."


def hash_of(text: str) -> str:
    """What is kept of a secret that was made at random and is long enough not to be guessed."""
    return sha256(text.encode()).hexdigest()


def note_event(*, user: User, kind: str, by: User, note: str = "") -> SignInEvent:
    return make(SignInEvent(user=user, kind=kind, by=by, at=clock.now(), note=note[:120]))


@transaction.atomic
def make_link(*, user: User, by: User) -> str:
    """The secret part of a new one-time link, shown once; an older link of the person stops working."""
    if not User.objects.select_for_update().get(pk=user.pk).is_active:
        raise Refused(f"{user.name}'s account is closed. Open it first, then make the link.")
    now = clock.now()
    Link.objects.filter(user=user, used_at__isnull=True, replaced_at__isnull=True).update(replaced_at=now)
    secret = secrets.token_urlsafe(32)
    make(Link(user=user, hash=hash_of(secret), made_by=by, made_at=now, expires_at=now + LINK_LIVES))
    note_event(user=user, kind=SignInEvent.Kind.LINK_MADE, by=by)
    return secret


def link_of(*, secret: str) -> Link:
    """The link, if it works now; Refused if not."""
    good = Link.objects.filter(
        hash=hash_of(secret),
        used_at__isnull=True,
        replaced_at__isnull=True,
        expires_at__gt=clock.now(),
        user__is_active=True,
    )
    link = good.select_related("user").first()
    if link is None:
        raise Refused(NO_LONGER, problem="link-used")
    return link


@transaction.atomic
def use_link(*, secret: str, password: str) -> User:
    """Set the password of the link's person; of many who use one link at once a single one does."""
    user = link_of(secret=secret).user
    # In the order of make_link: first the person, then the link.
    User.objects.select_for_update().get(pk=user.pk)
    link = link_of(secret=secret)
    check_password(user=user, password=password)
    Link.objects.filter(pk=link.pk).update(used_at=clock.now())
    _set_password(user, password)
    note_event(user=user, kind=SignInEvent.Kind.LINK_USED, by=user)
    return user


def check_password(*, user: User, password: str) -> None:
    """Refused where the password is too short, too common or too much like the person's name."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise as_refusal(error) from None


@transaction.atomic
def set_password(*, user: User, password: str) -> None:
    """Refused where the password has changed since `user` was read: what was sent to change it works once."""
    if User.objects.select_for_update().get(pk=user.pk).password != user.password:
        raise Refused(NO_LONGER, problem="link-used")
    _set_password(user, password)
    note_event(user=user, kind=SignInEvent.Kind.PASSWORD_SET, by=user)


def _set_password(user: User, password: str) -> None:
    user.set_password(password)
    user.save(update_fields=["password"])
    forget_tries(user=user)


def count_try(*, user: User, is_known_device: bool) -> bool:
    """Count one more wrong try before it is made; False where there were too many in a row, so that it must not be.

    Strangers are stopped ten tries earlier, so that nobody can use up those of the person's own devices.
    """
    most = MOST_WRONG_IN_A_ROW if is_known_device else MOST_WRONG_BY_STRANGERS
    Tries.objects.bulk_create([Tries(user=user)], ignore_conflicts=True)
    fewer = Tries.objects.filter(user=user, wrong_in_a_row__lt=most)
    return bool(fewer.update(wrong_in_a_row=F("wrong_in_a_row") + 1))


def forget_tries(*, user: User) -> None:
    Tries.objects.filter(user=user).update(wrong_in_a_row=0)
