"""Who works in a building now: names only, for choosing somebody."""

from django.db.models import Q, QuerySet

from program import clock
from program.models import Building, Role, User


def people_of(building: Building) -> QuerySet[User]:
    """Those who hold a role in the care of its residents, directly or through the region."""
    held = Role.objects.in_care_at(clock.now()).filter(Q(building=building) | Q(region=building.region_id))
    return User.objects.filter(pk__in=held.values("user")).order_by("name")
