"""What happened: records and sets. Lines are added, never changed; a correction replaces a line and keeps it."""

from datetime import datetime
from typing import Self

from django.db import models
from django.db.models import Q

from program.models.circuit import LoadUnit, Station
from program.models.prescription import PrescriptionLine
from program.models.scoped import BuildingForeignKey, OfBuilding, OfBuildingQuerySet, only_one
from program.models.session import Session


class ReasonClass(models.TextChoices):
    RESIDENT = "resident"
    CLINICAL = "clinical"
    OUR_SIDE = "our side"


class WrittenQuerySet(OfBuildingQuerySet):
    def as_of(self, moment: datetime) -> Self:
        """The lines that counted at `moment`: entered by then, and not replaced by then."""
        return self.filter(Q(replaced_at__isnull=True) | Q(replaced_at__gt=moment), entered_at__lte=moment)

    def counting(self) -> Self:
        """The lines that count now."""
        return self.filter(replaced_at__isnull=True)


class Written(OfBuilding):
    """A line that somebody wrote: done by, entered by, happened at, entered at; and by which sending."""

    session = BuildingForeignKey(Session, related_name="%(class)ss")
    event_id = models.UUIDField()
    done_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    # By the clock of the phone, where it differs from ours.
    phone_happened_at = models.DateTimeField(null=True, blank=True)
    replaced_at = models.DateTimeField(null=True, blank=True)
    replaced_by = models.ForeignKey("program.User", models.PROTECT, null=True, blank=True, related_name="+")
    replaced_because = models.CharField(max_length=200, blank=True)

    objects = WrittenQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        abstract = True


class Record(Written):
    """One line on what happened to a session."""

    class Kind(models.TextChoices):
        PUBLISHED = "published"
        MOVED = "moved"
        WITHDRAWN = "withdrawn"
        STARTED = "started"
        ATTEMPT = "attempt"
        ENDED = "ended"
        GIVEN_UP = "given up"

    kind = models.CharField(max_length=10, choices=Kind)
    happened_at = models.DateTimeField()
    reason = models.CharField(max_length=40, blank=True)
    reason_class = models.CharField(max_length=8, choices=ReasonClass, blank=True)
    note = models.CharField(max_length=300, blank=True)
    # How a start made sure that this was the right person.
    identified_by = models.CharField(max_length=30, blank=True)
    # The planned times before a move.
    moved_from_starts_at = models.DateTimeField(null=True, blank=True)
    moved_from_ends_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["session", "happened_at"], name="records_of_a_session")]
        constraints = [
            only_one("a_record_is_taken_once", "building", "event_id", sentence="That line has been taken already."),
            models.CheckConstraint(
                name="an_attempt_or_an_end_has_a_reason",
                condition=~Q(kind__in=("attempt", "given up", "withdrawn")) | (~Q(reason="") & ~Q(reason_class="")),
                violation_error_message="Say why: choose a reason.",
            ),
            models.CheckConstraint(
                name="a_move_says_from_when",
                condition=~Q(kind="moved") | Q(moved_from_starts_at__isnull=False, moved_from_ends_at__isnull=False),
                violation_error_message="A move says from when.",
            ),
        ]


class Set(Written):
    """What was done at a station: load as entered and exactly in kilograms, repetitions, set time, effort, pain."""

    line = BuildingForeignKey(PrescriptionLine, null=True, blank=True, related_name="+")
    station = BuildingForeignKey(Station, related_name="+")
    exercise = models.CharField(max_length=60)
    load = models.DecimalField(max_digits=7, decimal_places=3)
    load_unit = models.CharField(max_length=2, choices=LoadUnit)
    load_kg = models.DecimalField(max_digits=16, decimal_places=11)
    repetitions = models.PositiveSmallIntegerField()
    seconds = models.PositiveSmallIntegerField()
    ended_at = models.DateTimeField()
    # How many more good ones were possible: 4 stands for four or more.
    more_possible = models.PositiveSmallIntegerField(null=True, blank=True)
    pain = models.PositiveSmallIntegerField(null=True, blank=True)
    pain_cannot_be_rated = models.BooleanField(default=False)
    pain_signs_seen = models.BooleanField(null=True, blank=True)
    stop_reason = models.CharField(max_length=40, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["session", "ended_at"], name="sets_of_a_session"),
            models.Index(fields=["building", "ended_at"], name="sets_of_a_month"),
        ]
        constraints = [
            only_one("a_set_is_taken_once", "building", "event_id", sentence="That set has been taken already."),
            models.CheckConstraint(
                name="a_set_takes_1_to_900_seconds",
                condition=Q(seconds__range=(1, 900)),
                violation_error_message="A set takes from 1 to 900 seconds.",
            ),
            models.CheckConstraint(
                name="a_set_has_0_to_60_repetitions",
                condition=Q(repetitions__lte=60),
                violation_error_message="A set has from 0 to 60 repetitions.",
            ),
            models.CheckConstraint(
                name="a_done_load_is_not_below_nothing",
                condition=Q(load__gte=0, load_kg__gte=0),
                violation_error_message="A load cannot be below nothing.",
            ),
            models.CheckConstraint(
                name="pain_is_rated_0_to_10_or_not_at_all",
                condition=Q(pain__isnull=True) | Q(pain__lte=10, pain_cannot_be_rated=False),
                violation_error_message="Pain is a whole number from 0 to 10, or “not able to rate”.",
            ),
            models.CheckConstraint(
                name="more_possible_is_0_to_4",
                condition=Q(more_possible__isnull=True) | Q(more_possible__lte=4),
                violation_error_message="How many more good ones: none, 1, 2, 3, or 4 and more.",
            ),
        ]
