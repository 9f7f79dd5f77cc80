"""The nights of the clock change: forty-eight elapsed hours."""

from datetime import date, timedelta

import pytest

from program import clock
from tests.conftest import House
from tests.walkthroughs.following import book, done, judged, wall, with_aide


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen, [date(2027, 3, 15), date(2027, 11, 8)])


def test_in_spring_monday_at_the_same_time_is_too_early_by_an_hour(house: House) -> None:
    resident = house.resident()
    done(house, resident, "2027-03-13T10:00", "2027-03-13T10:30")

    with clock.at(wall("2027-03-14T12:00")):
        told = judged(house, resident, "2027-03-15T10:30")
        refused = book(house, resident, "2027-03-15T10:30")
        accepted = book(house, resident, "2027-03-15T11:30")

    assert wall("2027-03-15T10:30") - wall("2027-03-13T10:30") == timedelta(hours=48)  # by the wall; 47 elapsed
    assert (told["allowed"], told["rule"]) == (False, "too_soon")
    assert told["sentence"] == "The resident has recovered from Mon 15 Mar 11:30."
    assert refused.status_code == 409
    assert refused.json()["allowed_from"] == "2027-03-15T11:30:00-04:00"
    assert accepted.status_code == 201


def test_in_autumn_monday_is_allowed_an_hour_earlier(house: House) -> None:
    resident = house.resident()
    done(house, resident, "2027-11-06T10:00", "2027-11-06T10:30")

    with clock.at(wall("2027-11-07T12:00")):
        assert book(house, resident, "2027-11-08T09:24").status_code == 409
        assert judged(house, resident, "2027-11-08T09:24")["rule"] == "too_soon"
        assert book(house, resident, "2027-11-08T09:30").status_code == 201
