"""A fixed commitment with its margins, and one that can move."""

import pytest

from program.models import Resident
from tests.conftest import House
from tests.program.api.asking import Api
from tests.walkthroughs.following import W49, book, build, clock_times, judged, starts_in, times_on, with_aide

MONDAY = "2026-11-30"


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen)


def therapy(house: House, resident: Resident, *, is_movable: bool) -> None:
    sent = {
        "resident": resident.pk,
        "kind": "therapy",
        "starts": f"{MONDAY}T10:00",
        "timezone": "America/New_York",
        "minutes": 45,
        "margin_before_minutes": 10,
        "margin_after_minutes": 10,
        "is_movable": is_movable,
    }
    assert Api(house.coordinator).post("commitments/", sent).status_code == 201


def test_the_commitment_and_its_margins_are_left_free(house: House) -> None:
    resident = house.resident()
    therapy(house, resident, is_movable=False)
    starts = times_on(house, resident, MONDAY)

    assert starts == clock_times("08:00", "09:18") + clock_times("11:00", "11:30") + clock_times("13:30", "16:30")
    assert len(starts) == 14 + 6 + 31 == 51


def test_a_start_that_would_end_in_the_margin_is_refused_and_says_so(house: House) -> None:
    resident = house.resident()
    therapy(house, resident, is_movable=False)

    told = judged(house, resident, f"{MONDAY}T09:24")
    assert (told["allowed"], told["rule"]) == (False, "margin")
    assert "09:54" in told["sentence"]
    assert "the margin before therapy 10:00–10:45" in told["sentence"]
    assert book(house, resident, f"{MONDAY}T09:24").status_code == 409
    assert book(house, resident, f"{MONDAY}T09:18").status_code == 201


def test_one_that_can_move_leaves_every_start(house: House) -> None:
    resident = house.resident()
    therapy(house, resident, is_movable=True)

    assert len(times_on(house, resident, MONDAY)) == 67


def test_a_roster_that_lies_over_it_names_it(arrowfen: House) -> None:
    """Help is there on Monday from 10:00 to 10:30 alone, so that the only start lies over the therapy."""
    house = with_aide(arrowfen, W49[:1], starts=10 * 60, ends=10 * 60 + 30)
    resident = house.resident(sessions_a_week=1)
    therapy(house, resident, is_movable=True)
    roster = build(house, "2026-W49")

    assert starts_in(roster) == [f"{MONDAY}T10:00"]
    [draft] = Api(house.coordinator).get("rosters/", building=house.building.pk).json()["results"]
    [new] = Api(house.coordinator).get(f"rosters/{draft['id']}/compare/").json()["new"]
    assert new["would_move"] == ["therapy 10:00–10:45"]
