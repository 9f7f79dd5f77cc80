"""Pairs of residents who are never at the stations together, or gladly are."""

from django.db import transaction

from program.actions.changing import make
from program.actions.refusing import refusing_what_the_database_refuses
from program.models import Building, Pairing, Resident
from program.rules.errors import Invalid


@transaction.atomic
def pair(*, building: Building, kind: str, first: Resident, second: Resident) -> Pairing:
    """Keep two residents apart or together; what is published stays until somebody moves it."""
    if {first.building_id, second.building_id} != {building.pk}:
        raise Invalid(f"Both residents must be in {building.name}.")
    with refusing_what_the_database_refuses():
        return make(Pairing(building=building, kind=kind, first=first, second=second))


@transaction.atomic
def unpair(*, pairing: Pairing) -> None:
    pairing.delete()
