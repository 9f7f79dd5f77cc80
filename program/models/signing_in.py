"""How people sign in: one-time links, wrong tries, the tokens of programs, and what happened to all of these."""

from datetime import datetime, timedelta
from typing import Self

from django.db import models
from django.db.models import F, Q, Value

from program.models.people import User
from program.models.scoped import ends_after_it_starts, only_one

# Wrong tries in a row, ever (NIST SP 800-63B, 5.2.2); the last ten are kept for devices the person has signed in on.
MOST_WRONG_IN_A_ROW = 100
MOST_WRONG_BY_STRANGERS = 90
LONGEST_TOKEN = timedelta(days=90)


class Link(models.Model):
    """A link with which a person sets a password, once. Only its hash is kept."""

    user = models.ForeignKey(User, models.PROTECT, related_name="links")
    hash = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            ends_after_it_starts("a_link_expires_after_it_is_made", "made_at", "expires_at"),
            only_one(
                "a_person_has_one_link_that_works",
                "user",
                sentence="Somebody else has made a link for this person just now.",
                used_at__isnull=True,
                replaced_at__isnull=True,
            ),
        ]


class Tries(models.Model):
    """What guessing is measured by: wrong passwords in a row, and the step of the last code that was used."""

    user = models.OneToOneField(User, models.PROTECT, primary_key=True, related_name="tries")
    wrong_in_a_row = models.PositiveSmallIntegerField(default=0)
    last_step = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_password_is_not_guessed_for_ever",
                condition=Q(wrong_in_a_row__lte=MOST_WRONG_IN_A_ROW),
                violation_error_message="Too many wrong tries in a row.",
            )
        ]


class SignInEvent(models.Model):
    """What happened to somebody's way in: written once, never changed."""

    class Kind(models.TextChoices):
        SIGNED_IN = "signed in"
        PASSWORD_SET = "password set"  # noqa: S105 - says what happened
        LINK_MADE = "link made"
        LINK_USED = "link used"
        FACTOR_SET_UP = "second factor set up"
        FACTOR_RESET = "second factor reset"
        FACTOR_ENDED = "second factor ended"
        CODES_MADE = "recovery codes made"
        SESSIONS_ENDED = "sessions ended"
        TOKEN_MADE = "token made"  # noqa: S105 - says what happened
        TOKEN_ENDED = "token ended"  # noqa: S105 - says what happened
        LOCKED_OUT = "locked out"
        ACCOUNT_CLOSED = "account closed"
        ACCOUNT_OPENED = "account opened"

    user = models.ForeignKey(User, models.PROTECT, related_name="sign_in_events")
    kind = models.CharField(max_length=20, choices=Kind)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    note = models.CharField(max_length=120, blank=True)


class ApiTokenQuerySet(models.QuerySet["ApiToken"]):
    def good_at(self, moment: datetime) -> Self:
        return self.filter(ended_at__isnull=True, expires_at__gt=moment, user__is_active=True)


class ApiToken(models.Model):
    """What a program shows instead of a person's password: the rights are the person's own. Only its hash is kept."""

    user = models.ForeignKey(User, models.PROTECT, related_name="api_tokens")
    name = models.CharField(max_length=60)
    hash = models.CharField(max_length=64, unique=True)
    prefix = models.CharField(max_length=8)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        constraints = [
            ends_after_it_starts("a_token_expires_after_it_is_made", "made_at", "expires_at"),
            models.CheckConstraint(
                name="a_token_lives_for_90_days_at_most",
                condition=Q(
                    expires_at__lte=F("made_at") + Value(LONGEST_TOKEN, output_field=models.DurationField()),
                ),
                violation_error_message="A token lives for 90 days at most.",
            ),
        ]
