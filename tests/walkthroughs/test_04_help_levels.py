"""Help levels: sixths of an aide."""

from datetime import date

import pytest

from program.models import Role
from tests import factories
from tests.conftest import House
from tests.walkthroughs.following import book, clock_times, judged, times_on, with_aide

MONDAY = "2026-11-30"


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen)


def test_the_third_lacks_a_sixth_at_nine_and_is_accepted_half_an_hour_later(house: House) -> None:
    first, second, third = house.resident(), house.resident(), house.resident(help_sixths=3)
    assert book(house, first, f"{MONDAY}T09:00").status_code == 201
    assert book(house, second, f"{MONDAY}T09:00").status_code == 201

    refused = book(house, third, f"{MONDAY}T09:00")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/time-not-allowed")
    assert refused.json()["rule"] == "help_short"
    assert refused.json()["detail"] == "Help is short at 09:00 at the stations by one sixth of a person."
    assert book(house, third, f"{MONDAY}T09:30").status_code == 201


def test_who_needs_two_has_no_time_with_one_aide(house: House) -> None:
    fourth = house.resident(help_sixths=12)

    assert times_on(house, fourth, MONDAY) == []
    assert judged(house, fourth, f"{MONDAY}T09:00")["rule"] == "help_short"


def test_who_needs_two_has_the_hour_of_the_second_aide(house: House) -> None:
    fourth = house.resident(help_sixths=12)
    second = factories.with_role(house.building, Role.Kind.STAFF)
    factories.on_the_circuit(house.building, second, date(2026, 11, 30), 14 * 60, 15 * 60)

    assert times_on(house, fourth, MONDAY) == clock_times("14:00", "14:30")
    assert len(clock_times("14:00", "14:30")) == 6
