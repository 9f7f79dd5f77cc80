"""What else is in a resident's calendar: commitments, once or recurring, and their times."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q

from program.models.resident import Resident
from program.models.scoped import BuildingForeignKey, OfBuilding, Versioned, ends_after_it_starts, is_finite, only_one


class Commitment(OfBuilding, Versioned):
    """One entry of a calendar in the terms of RFC 5545; its local times stand in `times`, 400 days ahead."""

    class Kind(models.TextChoices):
        THERAPY = "therapy"
        STRENGTH_IN_THERAPY = "strength work in therapy"
        DIALYSIS = "dialysis"
        NURSING = "nursing"
        BATHING = "bathing"
        ACTIVITY = "activity"
        VISIT = "visit"
        OUTING = "outing"
        APPOINTMENT = "appointment"
        REST = "rest"
        REFUSED_TIME = "refused time"

    resident = BuildingForeignKey(Resident, related_name="commitments")
    uid = models.CharField(max_length=255)
    kind = models.CharField(max_length=24, choices=Kind)
    title = models.CharField(max_length=120, blank=True)
    is_movable = models.BooleanField(default=False)
    margin_before_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    margin_after_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    # As read: wall-clock text with its zone, so that a rule keeps its hour across clock changes.
    starts = models.CharField(max_length=32)
    timezone = models.CharField(max_length=64)
    is_all_day = models.BooleanField(default=False)
    minutes = models.PositiveIntegerField()
    rrule = models.CharField(max_length=500, blank=True)
    rdates = ArrayField(models.CharField(max_length=32), default=list, blank=True)
    exdates = ArrayField(models.CharField(max_length=32), default=list, blank=True)
    overrides = models.JSONField(default=dict, blank=True)
    last_confirmed_on = models.DateField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            only_one(
                "a_calendar_entry_is_there_once",
                "resident",
                "uid",
                sentence="That entry is in the calendar already.",
                ended_at__isnull=True,
            ),
            models.CheckConstraint(
                name="a_commitment_takes_time",
                condition=Q(minutes__gte=1, minutes__lte=60 * 24 * 31),
                violation_error_message="A commitment takes from one minute to 31 days.",
            ),
            models.CheckConstraint(
                name="a_margin_is_within_a_day",
                condition=(Q(margin_before_minutes__isnull=True) | Q(margin_before_minutes__lte=1440))
                & (Q(margin_after_minutes__isnull=True) | Q(margin_after_minutes__lte=1440)),
                violation_error_message="A margin takes from 0 to 1440 minutes.",
            ),
        ]


class CommitmentTime(OfBuilding):
    """One occurrence: the commitment itself, and what it blocks with its margins."""

    commitment = BuildingForeignKey(Commitment, related_name="times")
    resident = BuildingForeignKey(Resident, related_name="commitment_times")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    blocks_from = models.DateTimeField()
    blocks_until = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["building", "blocks_until"], name="commitment_times_of_a_week")]
        constraints = [
            ends_after_it_starts("a_commitment_ends_after_it_starts"),
            models.CheckConstraint(
                name="a_commitment_blocks_at_least_itself",
                condition=Q(blocks_from__lte=F("starts_at"), blocks_until__gte=F("ends_at"))
                & Q(is_finite("blocks_from"))
                & Q(is_finite("blocks_until")),
                violation_error_message="A commitment blocks at least its own time.",
            ),
        ]
