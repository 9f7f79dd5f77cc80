"""Capacity and the honest gap."""

from collections import Counter
from datetime import date

import pytest

from program.models import Hours, Role
from tests import factories
from tests.conftest import House, build_house
from tests.walkthroughs.following import build

MONDAY = date(2026, 11, 30)


@pytest.fixture
def morning(arrowfen: House) -> House:
    """Open on Monday morning alone, without meals; thirty residents, one session each."""
    Hours.objects.of(arrowfen.building).delete()
    factories.open_hours(arrowfen.building, weekdays=range(1), closes=12 * 60)
    for _ in range(30):
        arrowfen.resident(sessions_a_week=1)
    factories.on_the_circuit(arrowfen.building, arrowfen.aide, MONDAY, 8 * 60, 12 * 60)
    return arrowfen


def also(house: House, ends: int) -> None:
    second = factories.with_role(house.building, Role.Kind.STAFF)
    factories.on_the_circuit(house.building, second, MONDAY, 8 * 60, ends)


def most_at_once(roster: dict) -> int:
    sessions = roster["sessions"]
    return max(sum(other["start"] <= one["start"] < other["end"] for other in sessions) for one in sessions)


def test_with_one_aide_twenty_four_are_placed_and_six_lack_help(morning: House) -> None:
    roster = build(morning, "2026-W49")

    assert len(roster["sessions"]) == 24
    assert sum(one["missing"] for one in roster["unplaced"]) == 6
    reasons = Counter(reason["code"] for one in roster["unplaced"] for reason in one["reasons"])
    assert reasons["no_help_free"] == 6
    assert reasons["no_station_free"] == 0
    assert most_at_once(roster) == 3


@pytest.mark.parametrize(("second_until", "placed"), [(9 * 60, 28), (9 * 60 + 30, 30), (12 * 60, 30)])
def test_more_help_places_more(morning: House, second_until: int, placed: int) -> None:
    also(morning, second_until)
    roster = build(morning, "2026-W49")

    assert len(roster["sessions"]) == placed
    assert most_at_once(roster) <= 5


def test_the_second_house_is_not_in_the_first_ones_roster(morning: House) -> None:
    build_house("Brindlewharf").resident()
    roster = build(morning, "2026-W49")

    assert {one["resident"] for one in roster["sessions"]} <= {str(resident.pk) for resident in morning.residents}
