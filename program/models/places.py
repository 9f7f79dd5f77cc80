"""The tree of places: regions, buildings and their units; when they are open, when meals are, when they are closed."""

from datetime import datetime
from typing import TYPE_CHECKING, Self
from zoneinfo import ZoneInfo

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Func, Q, Value
from django.db.models.functions import Coalesce, Lower

from program.models.scoped import BuildingForeignKey, OfBuilding, OfBuildingQuerySet, Versioned, is_finite, one_spelling
from program.rules.opening import Period

if TYPE_CHECKING:
    from program.models.people import User


class Region(models.Model):
    name = models.CharField(max_length=80)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="no_two_regions_share_a_name",
                violation_error_message="There is a region of that name.",
            )
        ]

    def __str__(self) -> str:
        return self.name


class BuildingQuerySet(models.QuerySet["Building"]):
    def visible_to(self, user: "User") -> Self:
        """Those in which the person has a role in the care of residents now, directly or through the region."""
        return self.filter(pk__in=user.care_building_ids())


def between(field: str, least: int, most: int, sentence: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        name=f"building_{field}_is_sensible",
        condition=Q(**{f"{field}__range": (least, most)}),
        violation_error_message=sentence,
    )


class Building(models.Model):
    """One building and the rules it runs by; one installation serves one organisation."""

    region = models.ForeignKey(Region, models.PROTECT, related_name="buildings")
    name = models.CharField(max_length=80)
    timezone = models.CharField(max_length=64)
    turn_minutes = models.PositiveSmallIntegerField(default=6)
    rest_after_meal_minutes = models.PositiveSmallIntegerField(default=60)
    margin_minutes = models.PositiveSmallIntegerField(default=10)
    grace_minutes = models.PositiveSmallIntegerField(default=30)
    overdue_hours = models.PositiveSmallIntegerField(default=144)
    buffer_turns = models.PositiveSmallIntegerField(default=1)
    max_wait_turns = models.PositiveSmallIntegerField(default=0)
    skips_closed_stations = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    objects = BuildingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="no_two_buildings_share_a_name",
                violation_error_message="There is a building of that name.",
            ),
            between("turn_minutes", 1, 60, "A turn takes from 1 to 60 minutes."),
            between("rest_after_meal_minutes", 0, 240, "The rest after a meal takes from 0 to 240 minutes."),
            between("margin_minutes", 0, 240, "The margin around a commitment takes from 0 to 240 minutes."),
            between("grace_minutes", 0, 240, "A session is late after 0 to 240 minutes of grace."),
            between("overdue_hours", 48, 1000, "A resident is overdue after 48 to 1000 hours without a session."),
            between("buffer_turns", 0, 10, "The planning buffer takes from 0 to 10 turns."),
            between("max_wait_turns", 0, 1, "A building may allow one turn of waiting between two stations, or none."),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)


class Unit(OfBuilding):
    """A wing or a floor; may be closed alone."""

    name = models.CharField(max_length=80)

    class Meta:
        constraints = [one_spelling("no_two_units_of_a_building_share_a_name", "There is a unit of that name.")]

    def __str__(self) -> str:
        return self.name


class HoursQuerySet(OfBuildingQuerySet):
    def openings(self) -> list[Period]:
        return [row.period for row in self.filter(kind=Hours.Kind.OPEN)]


class Hours(OfBuilding, Versioned):
    """A weekly period by the wall clock, in minutes after midnight: when the circuit is open, or when a meal is."""

    class Kind(models.TextChoices):
        OPEN = "open"
        MEAL = "meal"

    kind = models.CharField(max_length=8, choices=Kind)
    unit = BuildingForeignKey(Unit, null=True, blank=True, related_name="hours")
    name = models.CharField(max_length=40, blank=True)
    weekday = models.PositiveSmallIntegerField()
    starts_minute = models.PositiveSmallIntegerField()
    ends_minute = models.PositiveSmallIntegerField()

    objects = HoursQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_weekday_runs_from_monday_0_to_sunday_6",
                condition=Q(weekday__range=(0, 6)),
                violation_error_message="A weekday is a number from 0, Monday, to 6, Sunday.",
            ),
            models.CheckConstraint(
                name="a_period_of_a_day_ends_after_it_starts",
                condition=Q(ends_minute__gt=F("starts_minute"), ends_minute__lte=1440),
                violation_error_message="The end must come after the start, on the same day.",
            ),
            models.CheckConstraint(
                name="the_circuit_opens_for_the_whole_building",
                condition=Q(kind="meal") | Q(unit__isnull=True),
                violation_error_message="Opening hours are the building's; only meals may be a unit's own.",
            ),
            ExclusionConstraint(
                name="no_two_periods_of_a_day_overlap",
                expressions=[
                    ("building", RangeOperators.EQUAL),
                    ("kind", RangeOperators.EQUAL),
                    (Coalesce("unit", Value(0)), RangeOperators.EQUAL),
                    ("weekday", RangeOperators.EQUAL),
                    (Func("starts_minute", "ends_minute", function="int4range"), RangeOperators.OVERLAPS),
                ],
                violation_error_message="That overlaps another period of the same day.",
            ),
        ]

    @property
    def period(self) -> Period:
        return Period(self.weekday, self.starts_minute, self.ends_minute, self.name, self.unit_id)


class ClosureQuerySet(OfBuildingQuerySet):
    def touching(self, start: datetime, until: datetime) -> Self:
        """Those of which some instant lies in the half-open span, in order of time."""
        lasting = self.filter(Q(ends_at__isnull=True) | Q(ends_at__gt=start), starts_at__lt=until)
        return lasting.order_by("starts_at", "pk")


class Closure(OfBuilding, Versioned):
    """The building, a unit or a station is closed from-until; open-ended until somebody says otherwise."""

    class Reason(models.TextChoices):
        HOLIDAY = "holiday"
        OUTBREAK = "outbreak"
        OUT_OF_ORDER = "out of order"
        MAINTENANCE = "maintenance"
        OTHER = "other"

    unit = BuildingForeignKey(Unit, null=True, blank=True, related_name="closures")
    station = BuildingForeignKey("program.Station", null=True, blank=True, related_name="closures")
    reason = models.CharField(max_length=16, choices=Reason)
    note = models.CharField(max_length=200, blank=True)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    entered_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    objects = ClosureQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_closure_ends_after_it_starts",
                condition=Q(is_finite("starts_at")) & (Q(ends_at__isnull=True) | Q(ends_at__gt=F("starts_at"))),
                violation_error_message="The end must come after the start.",
            ),
            models.CheckConstraint(
                name="a_closure_is_of_a_unit_or_a_station_or_the_building",
                condition=Q(unit__isnull=True) | Q(station__isnull=True),
                violation_error_message="Name a unit or a station, not both.",
            ),
        ]
