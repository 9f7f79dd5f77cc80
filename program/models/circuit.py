"""The circuit of a building: its stations, each one piece of equipment for one resident at a time."""

from django.db import models
from django.db.models import F, Q

from program.models.scoped import OfBuilding, Versioned, one_spelling


class LoadUnit(models.TextChoices):
    KILOGRAM = "kg"
    POUND = "lb"


class Station(OfBuilding, Versioned):
    """One piece of equipment, its usual exercise and the steps of its load."""

    name = models.CharField(max_length=60)
    exercise = models.CharField(max_length=60)
    position = models.PositiveSmallIntegerField()
    load_unit = models.CharField(max_length=2, choices=LoadUnit)
    load_step = models.DecimalField(max_digits=7, decimal_places=3)
    lightest = models.DecimalField(max_digits=7, decimal_places=3, default=0)
    heaviest = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["position", "pk"]
        constraints = [
            one_spelling("no_two_stations_of_a_building_share_a_name", "There is a station of that name."),
            models.CheckConstraint(
                name="a_load_goes_up_in_steps",
                condition=Q(load_step__gt=0),
                violation_error_message="The step of a load must be more than nothing.",
            ),
            models.CheckConstraint(
                name="a_station_is_heaviest_at_its_heaviest",
                condition=Q(lightest__gte=0) & (Q(heaviest__isnull=True) | Q(heaviest__gte=F("lightest"))),
                violation_error_message="The heaviest load cannot be below the lightest.",
            ),
        ]

    def __str__(self) -> str:
        return self.name
