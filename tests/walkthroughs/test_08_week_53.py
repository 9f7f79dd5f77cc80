"""A holiday in the 53rd week."""

from datetime import date, timedelta

import pytest

from program.models import Hours
from tests import factories
from tests.conftest import House
from tests.program.api.asking import Api
from tests.walkthroughs.following import book, build, starts_in, times_on, wall, with_aide

DAYS = [date(2026, 12, 28) + timedelta(days=day) for day in range(7)]


@pytest.fixture
def house(arrowfen: House) -> House:
    """Open Monday to Friday, and closed on New Year's Day."""
    Hours.objects.of(arrowfen.building).filter(kind="open", weekday=5).delete()
    with_aide(arrowfen, DAYS[:5])
    closed = {
        "building": arrowfen.building.pk,
        "reason": "holiday",
        "starts_at": wall("2027-01-01T00:00").isoformat(),
        "ends_at": wall("2027-01-02T00:00").isoformat(),
    }
    assert Api(arrowfen.coordinator).post("closures/", closed).status_code == 201
    return arrowfen


def test_the_week_exists_and_has_no_session_on_the_holiday(house: House) -> None:
    residents = [house.resident() for _ in range(4)]
    roster = build(house, "2026-W53")

    days = {start[:10] for start in starts_in(roster)}
    assert len(roster["sessions"]) == 2 * len(residents)
    assert days <= {"2026-12-28", "2026-12-29", "2026-12-30", "2026-12-31"}
    assert times_on(house, residents[0], "2027-01-01", "2026-W53") == []


def test_the_second_session_follows_48_hours_later(house: House) -> None:
    resident = house.resident()
    assert book(house, resident, "2026-12-28T10:00").status_code == 201

    answer = Api(house.coordinator).get(f"residents/{resident.pk}/times/", week="2026-W53").json()
    after = [time["starts_at"] for time in answer["times"] if time["starts_at"] > "2026-12-28T10:00"]
    assert after[0] == "2026-12-30T10:30:00-05:00"


def test_the_first_of_january_is_in_week_53_of_the_year_before(house: House) -> None:
    factories.open_hours(house.building, weekdays=range(5, 7))
    resident = house.resident()
    with_aide(house, [date(2027, 1, 2)])

    assert times_on(house, resident, "2027-01-02", "2026-W53")[0] == "08:00"
    assert times_on(house, resident, "2027-01-02", "2027-W01") == []
