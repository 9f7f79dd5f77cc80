"""Nobody is offered a time for which they could not be fetched any more."""

from datetime import timedelta

import pytest

from program import clock
from program.models import Resident
from program.models.scoped import set_scope
from scheduling.actions import refresh_flags
from scheduling.actions.offering import offer_for
from scheduling.models import Flag
from tests.conftest import House
from tests.walkthroughs.following import book, wall, with_aide


@pytest.mark.parametrize(("escort", "first"), [({}, "09:36"), ({"escort_people": 1, "escort_minutes": 10}, "09:42")])
def test_the_first_time_is_one_that_the_way_leaves(arrowfen: House, escort: dict, first: str) -> None:
    house = with_aide(arrowfen)
    resident: Resident = house.resident(help_sixths=2, **escort)
    assert book(house, resident, "2026-11-30T09:00").status_code == 201
    with clock.at(wall("2026-11-30T09:31")):
        set_scope([house.building.pk], user_id=None)
        refresh_flags(building_ids=[house.building.pk])
        offer = offer_for(flag=Flag.objects.get(kind=Flag.Kind.LATE))

    assert offer.remedies.keeps[0].start == wall(f"2026-11-30T{first}")
    assert offer.remedies.keeps[0].start - wall("2026-11-30T09:31") >= timedelta(minutes=resident.escort_minutes)
