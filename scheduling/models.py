"""What is proposed and what is due: a roster is a week in a building, a flag something a person must look at."""

from typing import Self

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q

from program.models.scoped import OfBuilding, OfBuildingQuerySet, Versioned, only_one


class Roster(OfBuilding, Versioned):
    """A week of sessions: asked for, built, published. The row is the job; its progress survives a reload."""

    class State(models.TextChoices):
        WAITING = "waiting"
        BUILDING = "building"
        DRAFT = "draft"
        PUBLISHED = "published"
        REPLACED = "replaced"
        FAILED = "failed"

    monday = models.DateField()
    state = models.CharField(max_length=9, choices=State, default=State.WAITING)
    seconds = models.PositiveSmallIntegerField(default=20)
    asked_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    starts = models.PositiveSmallIntegerField(default=0)
    started_at = models.DateTimeField(null=True, blank=True)
    built_at = models.DateTimeField(null=True, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey("program.User", models.PROTECT, null=True, blank=True, related_name="+")
    # While it is built: the best so far, as {"placed", "prescribed", "value", "bound"}.
    progress = models.JSONField(default=dict, blank=True)
    # The problem as it was solved and the answer, in the two formats of the design (4.5).
    problem = models.JSONField(null=True, blank=True)
    answer = models.JSONField(null=True, blank=True)
    failure = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["building", "monday"], name="rosters_of_a_week")]
        constraints = [
            models.CheckConstraint(
                name="a_roster_week_begins_on_a_monday",
                condition=Q(monday__iso_week_day=1),
                violation_error_message="A roster week begins on a Monday.",
            ),
            only_one(
                "one_published_roster_a_building_and_week",
                "building",
                "monday",
                sentence="Another roster of this week has just been published.",
                state="published",
            ),
            models.CheckConstraint(
                name="a_published_roster_says_when_and_by_whom",
                condition=~Q(state="published") | Q(published_at__isnull=False, published_by__isnull=False),
                violation_error_message="A published roster says when and by whom.",
            ),
            models.CheckConstraint(
                name="a_draft_has_its_answer",
                condition=~Q(state__in=("draft", "published", "replaced")) | Q(answer__isnull=False),
                violation_error_message="A draft has its answer.",
            ),
        ]


class FlagQuerySet(OfBuildingQuerySet):
    def open_now(self) -> Self:
        return self.filter(closed_at__isnull=True)


class Flag(OfBuilding):
    """Something a person must look at, derived from the rows and the moment: never the only place that knows it.

    One for each cause while it is open; `sessions` and `residents` are the numbers of those it is about, `since` is
    when it became true, `due_at` by when to act (nothing: at once).
    """

    class Kind(models.TextChoices):
        LATE = "late"
        MISSED = "missed"
        NOT_RECORDED = "not recorded"
        DUE = "due"
        OVERDUE = "overdue"
        INTERRUPTED = "interrupted"
        OVERTAKEN = "overtaken"
        TOO_SOON = "too soon"

    class Owner(models.TextChoices):
        COORDINATOR = "coordinator"
        STAFF = "staff"
        CLINICIAN = "clinician"

    kind = models.CharField(max_length=12, choices=Kind)
    cause = models.CharField(max_length=80)
    sessions = ArrayField(models.BigIntegerField(), default=list, blank=True)
    residents = ArrayField(models.BigIntegerField(), default=list, blank=True)
    since = models.DateTimeField()
    due_at = models.DateTimeField(null=True, blank=True)
    owner = models.CharField(max_length=11, choices=Owner)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = FlagQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        constraints = [
            only_one(
                "one_open_flag_a_cause",
                "building",
                "kind",
                "cause",
                sentence="That is flagged already.",
                closed_at__isnull=True,
            ),
            models.CheckConstraint(
                name="a_flag_closes_after_it_opens",
                condition=Q(closed_at__isnull=True) | Q(closed_at__gte=F("opened_at")),
                violation_error_message="A flag cannot close before it opens.",
            ),
        ]
