"""Ways in: one-time links, passwords, and the count of wrong tries."""

import secrets
from datetime import timedelta

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F

from program import clock
from program.actions.changing import as_refusal, make
from program.actions.sign_in_events import hash_of, note_event, note_lockout
from program.actions.tokens import end_tokens_of
from program.models import Link, SignInEvent, Tries, User
from program.models.signing_in import MOST_WRONG_BY_STRANGERS, MOST_WRONG_IN_A_ROW
from program.rules.errors import Refused

LINK_LIVES = timedelta(hours=72)
NO_LONGER = "This link no longer works: it has been used, is too old, or was replaced. Ask your administrator for one."


@transaction.atomic
def make_link(*, user: User, by: User) -> str:
    """The secret part of a new one-time link, shown once; an older link of the person stops working."""
    if not User.objects.select_for_update().get(pk=user.pk).is_active:
        raise Refused(f"{user.name}'s account is closed. Open it first, then make the link.")
    now = clock.now()
    end_links_of(user=user)
    secret = secrets.token_urlsafe(32)
    make(Link(user=user, hash=hash_of(secret), made_by=by, made_at=now, expires_at=now + LINK_LIVES))
    note_event(user=user, kind=SignInEvent.Kind.LINK_MADE, by=by)
    return secret


def end_links_of(*, user: User) -> None:
    """No link that was made for the person before works any longer."""
    Link.objects.filter(user=user, used_at__isnull=True, replaced_at__isnull=True).update(replaced_at=clock.now())


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
    # In the order of a sign-in: first the tries, then the person; and in that of make_link: then the link.
    lock_tries(user=user)
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
    lock_tries(user=user)
    kept = User.objects.select_for_update().get(pk=user.pk)
    if kept.password != user.password or not kept.is_active:
        raise Refused(NO_LONGER, problem="link-used")
    _set_password(user, password)
    note_event(user=user, kind=SignInEvent.Kind.PASSWORD_SET, by=user)


def _set_password(user: User, password: str) -> None:
    """Whoever knew the old one, or had a link or a token from then, has nothing left."""
    user.set_password(password)
    user.save(update_fields=["password"])
    end_links_of(user=user)
    end_tokens_of(user=user, by=user)
    forget_tries(user=user)


def lock_tries(*, user: User) -> None:
    Tries.objects.bulk_create([Tries(user=user)], ignore_conflicts=True)
    Tries.objects.select_for_update().get(user=user)


def count_try(*, user: User, is_known_device: bool) -> bool:
    """Count one more wrong try, of a password or a code, before it is made; False where there were too many in a row.

    Strangers are stopped ten tries earlier, so that nobody can use up those of the person's own devices.
    """
    most = MOST_WRONG_IN_A_ROW if is_known_device else MOST_WRONG_BY_STRANGERS
    Tries.objects.bulk_create([Tries(user=user)], ignore_conflicts=True)
    fewer = Tries.objects.filter(user=user, wrong_in_a_row__lt=most)
    if fewer.update(wrong_in_a_row=F("wrong_in_a_row") + 1):
        return True
    note_lockout(user=user, note="everywhere, until a new link" if is_known_device else "on devices not known")
    return False


def uncount_try(*, user: User) -> None:
    """That one was right; the wrong ones before it still count, until the whole sign-in is done."""
    Tries.objects.filter(user=user, wrong_in_a_row__gt=0).update(wrong_in_a_row=F("wrong_in_a_row") - 1)


def forget_tries(*, user: User) -> None:
    Tries.objects.filter(user=user).update(wrong_in_a_row=0)
