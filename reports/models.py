"""The reports that were made: one a building, period and asking; and the askings."""

from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import F, Q

from program.models.places import Building
from program.models.scoped import OfBuilding, OfBuildingQuerySet, only_one
from reports.periods import KINDS, Period

if TYPE_CHECKING:
    from program.models import User

PERIOD_KINDS = [(kind, kind) for kind in KINDS]


def of_a_week_or_a_month(noun: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        name=f"a_{noun}_is_about_a_week_or_a_month",
        condition=Q(period_kind="week", period_name__regex=r"^[0-9]{4}-W[0-9]{2}$")
        | Q(period_kind="month", period_name__regex=r"^[0-9]{4}-[0-9]{2}$"),
        violation_error_message="A report is about a week like 2026-W48 or a month like 2026-11.",
    )


class BuildingsInSight:
    """Buildings that a person may name to ask about reports: those they answer for, and those they work in."""

    model = Building

    @staticmethod
    def visible_to(user: "User") -> models.QuerySet[Building]:
        return Building.objects.filter(Q(pk__in=user.reported_building_ids()) | Q(pk__in=user.care_building_ids()))


class RunQuerySet(models.QuerySet["Run"]):
    def visible_to(self, user: "User", *, where_they_work: bool = False) -> Self:
        """Those the person asked for, and those with a report of a building whose reports they may see."""
        reports = Report.objects.visible_to(user, where_they_work=where_they_work)
        return self.filter(Q(asked_by=user) | Q(pk__in=reports.filter(run__isnull=False).values("run")))


class Run(models.Model):
    """One asking for the reports of some buildings; holds nothing of any building."""

    period_kind = models.CharField(max_length=5, choices=PERIOD_KINDS)
    period_name = models.CharField(max_length=8)
    as_of = models.DateTimeField()
    # Empty where the schedule asked.
    asked_by = models.ForeignKey("program.User", models.PROTECT, null=True, blank=True, related_name="+")
    asked_at = models.DateTimeField()

    objects = RunQuerySet.as_manager()

    class Meta:
        constraints = [of_a_week_or_a_month("run")]

    @property
    def period(self) -> Period:
        return Period.named(self.period_kind, self.period_name)


class ReportQuerySet(OfBuildingQuerySet):
    def visible_to(self, user: "User", *, where_they_work: bool = False) -> Self:
        """Those of the buildings that the person answers for now: figures, and never a name.

        `where_they_work` adds the buildings in which they only work: to tell them that they may not.
        """
        if where_they_work:
            return self.filter(building__in=BuildingsInSight.visible_to(user))
        return self.filter(building_id__in=user.reported_building_ids())

    def of_period(self, period: Period) -> Self:
        return self.filter(period_kind=period.kind, period_name=period.name)

    def newest(self) -> Self:
        """Of each building the one that was made last for the period: what stands now."""
        return self.order_by("building_id", "-as_of", "-asked_at", "-pk").distinct("building_id")


class Report(OfBuilding):
    """The figures of one building over one period, as of one moment. The row is the job, too."""

    class State(models.TextChoices):
        WAITING = "waiting"
        MADE = "made"
        FAILED = "failed"
        REFUSED = "refused"

    # Empty where the schedule asked.
    run = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="reports")
    period_kind = models.CharField(max_length=5, choices=PERIOD_KINDS)
    period_name = models.CharField(max_length=8)
    # The local bounds of the period, as instants.
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    as_of = models.DateTimeField()
    is_scheduled = models.BooleanField(default=False)
    state = models.CharField(max_length=7, choices=State, default=State.WAITING)
    # How often a worker has begun it, and when the last one did.
    starts = models.PositiveSmallIntegerField(default=0)
    started_at = models.DateTimeField(null=True, blank=True)
    asked_at = models.DateTimeField()
    made_at = models.DateTimeField(null=True, blank=True)
    failure = models.CharField(max_length=300, blank=True)
    # Counts and shares alone, in the shape of reports/figures.py.
    figures = models.JSONField(null=True, blank=True)

    objects = ReportQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        indexes = [
            models.Index(fields=["building", "period_kind", "period_name"], name="reports_of_a_period"),
            models.Index(fields=["asked_at"], name="reports_that_wait", condition=Q(state="waiting")),
        ]
        constraints = [
            of_a_week_or_a_month("report"),
            only_one(
                "one_report_a_run_and_building",
                "run",
                "building",
                sentence="That building is in this run already.",
            ),
            only_one(
                "one_scheduled_report_a_building_and_period",
                "building",
                "period_kind",
                "period_name",
                sentence="The report of that period has been made by the schedule already.",
                is_scheduled=True,
            ),
            models.CheckConstraint(
                name="the_schedule_or_a_run_asks_for_a_report",
                condition=Q(is_scheduled=True, run__isnull=True) | Q(is_scheduled=False, run__isnull=False),
                violation_error_message="A report is asked for by the schedule or by a run.",
            ),
            models.CheckConstraint(
                name="a_report_that_is_made_has_figures_and_a_time",
                condition=Q(state="made", figures__isnull=False, made_at__isnull=False)
                | (~Q(state="made") & Q(figures__isnull=True, made_at__isnull=True)),
                violation_error_message="A report that is made has figures and says when; one that is not has neither.",
            ),
            models.CheckConstraint(
                name="a_report_that_was_not_made_says_why",
                condition=~Q(state__in=("failed", "refused")) | ~Q(failure=""),
                violation_error_message="Say why the report could not be made.",
            ),
            models.CheckConstraint(
                name="a_period_ends_after_it_starts",
                condition=Q(ends_at__gt=F("starts_at")),
                violation_error_message="The end must come after the start.",
            ),
        ]

    @property
    def period(self) -> Period:
        return Period.named(self.period_kind, self.period_name)
