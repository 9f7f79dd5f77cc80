"""What is proposed: a roster is a week in a building, the job that builds it, and its answer."""

from django.db import models
from django.db.models import Q

from program.models.scoped import OfBuilding, Versioned, only_one


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
