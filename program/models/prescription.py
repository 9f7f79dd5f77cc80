"""The exercise plan of a resident, in versions: nothing of an old version ever changes."""

from typing import Self

from django.db import models
from django.db.models import F, Q

from program.models.circuit import LoadUnit, Station
from program.models.resident import Resident
from program.models.scoped import BuildingForeignKey, OfBuilding, OfBuildingQuerySet, only_one


class PrescriptionQuerySet(OfBuildingQuerySet):
    def newest_first(self) -> Self:
        return self.order_by("resident", "-number")

    def in_force(self) -> Self:
        """The newest version of each resident."""
        return self.newest_first().distinct("resident")


class Prescription(OfBuilding):
    """One version: how many sessions a week, and what is done at which station."""

    resident = BuildingForeignKey(Resident, related_name="prescriptions")
    number = models.PositiveIntegerField()
    sessions_a_week = models.PositiveSmallIntegerField(default=2)
    entered_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    objects = PrescriptionQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        constraints = [
            only_one(
                "an_exercise_plan_has_one_version_of_a_number",
                "resident",
                "number",
                sentence="Somebody else has just changed this exercise plan. Look at it, then change it again.",
            ),
            models.CheckConstraint(
                name="one_to_three_sessions_a_week",
                condition=Q(sessions_a_week__range=(1, 3)),
                violation_error_message="An exercise plan asks for one to three sessions a week.",
            ),
        ]


class PrescriptionLine(OfBuilding):
    """What is done at one station: the load as entered and exactly in kilograms, repetitions, pace, settings."""

    prescription = BuildingForeignKey(Prescription, related_name="lines")
    position = models.PositiveSmallIntegerField()
    station = BuildingForeignKey(Station, related_name="+")
    exercise = models.CharField(max_length=60)
    load = models.DecimalField(max_digits=7, decimal_places=3)
    load_unit = models.CharField(max_length=2, choices=LoadUnit)
    load_kg = models.DecimalField(max_digits=16, decimal_places=11)
    repetitions_least = models.PositiveSmallIntegerField(default=8)
    repetitions_most = models.PositiveSmallIntegerField(default=10)
    pace = models.CharField(max_length=60, default="3 out, pause, 5 back")
    seconds_least = models.PositiveSmallIntegerField(default=60)
    seconds_most = models.PositiveSmallIntegerField(default=90)
    turns = models.PositiveSmallIntegerField(default=1)
    range_limits = models.CharField(max_length=120, blank=True)
    settings = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            only_one(
                "an_exercise_plan_has_one_line_at_a_position",
                "prescription",
                "position",
                sentence="Two lines of the plan stand at the same place.",
            ),
            models.CheckConstraint(
                name="a_load_is_not_below_nothing",
                condition=Q(load__gte=0, load_kg__gte=0),
                violation_error_message="A load cannot be below nothing.",
            ),
            models.CheckConstraint(
                name="repetitions_run_from_least_to_most",
                condition=Q(
                    repetitions_least__gte=1, repetitions_most__gte=F("repetitions_least"), repetitions_most__lte=30
                ),
                violation_error_message="Repetitions run from the least to the most, 1 to 30.",
            ),
            models.CheckConstraint(
                name="seconds_run_from_least_to_most",
                condition=Q(seconds_least__gte=10, seconds_most__gte=F("seconds_least"), seconds_most__lte=600),
                violation_error_message="The set time runs from the least to the most, 10 to 600 seconds.",
            ),
            models.CheckConstraint(
                name="a_station_is_used_for_one_to_five_turns",
                condition=Q(turns__range=(1, 5)),
                violation_error_message="A station is used for one to five turns.",
            ),
        ]
