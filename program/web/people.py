"""Who works in a building now, for choosing somebody; and where somebody may be given a role: names only."""

from typing import Any

from django.db.models import Q, QuerySet

from program import clock
from program.models import Building, Region, Role, User


def people_of(building: Building) -> QuerySet[User]:
    """Those who hold a role in the care of its residents, directly or through the region."""
    held = Role.objects.in_care_at(clock.now()).filter(Q(building=building) | Q(region=building.region_id))
    return User.objects.filter(pk__in=held.values("user")).order_by("name")


def places_for_roles() -> list[tuple[str, Any]]:
    """For whoever gives roles, all there are, as choices: named “building-7” and “region-2”."""
    buildings = [(f"building-{one.pk}", one.name) for one in Building.objects.order_by("name")]
    regions = [(f"region-{one.pk}", f"all of {one.name}") for one in Region.objects.order_by("name")]
    return [("", "everywhere (administrators only)"), ("Buildings", buildings), ("Regions", regions)]


def place_named(choice: str) -> tuple[Building | None, Region | None]:
    """What one of those choices stands for."""
    noun, _, number = choice.partition("-")
    building = Building.objects.get(pk=number) if noun == "building" else None
    return building, Region.objects.get(pk=number) if noun == "region" else None
