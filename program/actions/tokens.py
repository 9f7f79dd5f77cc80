"""Tokens with which programs ask as a person."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

from django.db import connection, transaction
from django.db.models import Q

from program import clock
from program.actions.changing import make
from program.actions.sign_in_events import hash_of, note_event
from program.models import ApiToken, SignInEvent, User
from program.models.signing_in import LONGEST_TOKEN
from program.rules.errors import Invalid

WRITTEN_EVERY = timedelta(minutes=1)


@transaction.atomic
def make_token(*, user: User, name: str, days: int) -> tuple[ApiToken, str]:
    """The token's row, and its text, which is shown once and kept nowhere."""
    if not 1 <= days <= LONGEST_TOKEN.days:
        raise Invalid(f"A token lives for 1 to {LONGEST_TOKEN.days} days.", field="days")
    text, now = secrets.token_urlsafe(32), clock.now()
    token = make(
        ApiToken(
            user=user,
            name=name,
            hash=hash_of(text),
            prefix=text[:8],
            made_at=now,
            expires_at=now + timedelta(days=days),
        )
    )
    note_event(user=user, kind=SignInEvent.Kind.TOKEN_MADE, by=user, note=name)
    return token, text


@transaction.atomic
def end_token(*, token: ApiToken, by: User) -> None:
    """Dead at the next request; ending it twice is the same as once."""
    if ApiToken.objects.filter(pk=token.pk, ended_at__isnull=True).update(ended_at=clock.now()):
        note_event(user=token.user, kind=SignInEvent.Kind.TOKEN_ENDED, by=by, note=token.name)


@transaction.atomic
def end_tokens_of(*, user: User, by: User) -> None:
    """All of them; also where nobody is signed in, because the person has come by a link."""
    with _tokens_shown_of(user):
        good = list(ApiToken.objects.select_for_update().filter(user=user, ended_at__isnull=True))
        ApiToken.objects.filter(pk__in=[token.pk for token in good]).update(ended_at=clock.now())
    for token in good:
        note_event(user=user, kind=SignInEvent.Kind.TOKEN_ENDED, by=by, note=token.name)


@contextmanager
def _tokens_shown_of(user: User) -> Iterator[None]:
    """Tokens show to their person: within the block the database takes the person for the one who asks."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting('app.user_id', true)")
        (before,) = cursor.fetchone()
        cursor.execute("SELECT set_config('app.user_id', %s, true)", [str(user.pk)])
        yield
        cursor.execute("SELECT set_config('app.user_id', %s, true)", [before or ""])


@transaction.atomic
def use_token(*, text: str) -> ApiToken | None:
    """The token with that text if it is good now; before there is a scope, so its row shows by the text alone."""
    digest, now = hash_of(text), clock.now()
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('app.token', %s, true)", [digest])
        token = ApiToken.objects.good_at(now).select_related("user").filter(hash=digest).first()
        if token is not None:
            long_ago = Q(last_used_at__isnull=True) | Q(last_used_at__lte=now - WRITTEN_EVERY)
            ApiToken.objects.filter(long_ago, pk=token.pk).update(last_used_at=now)
        cursor.execute("SELECT set_config('app.token', '', true)")
    return token
