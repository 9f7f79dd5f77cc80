"""Too soon on the phone: a session that ends late overtakes the next one, which may begin when recovery is over."""

from datetime import datetime
from uuid import uuid4

import pytest
from django.http import HttpResponse

from program import clock
from scheduling.tasks import refresh_flags
from tests.conftest import House
from tests.program.api.arranging import one_line, one_set
from tests.program.api.asking import Api, problem_of
from tests.walkthroughs.following import book, wall, with_aide

MONDAY, WEDNESDAY = "2026-11-30", "2026-12-02"
AT_ONCE = wall(f"{MONDAY}T10:34")


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen)


@pytest.fixture
def wednesday(house: House) -> int:
    """Published Wed 10:30, after a Monday session that ended four minutes late."""
    resident = house.resident()
    monday = book(house, resident, f"{MONDAY}T10:00").json()["id"]
    booked = book(house, resident, f"{WEDNESDAY}T10:30").json()["id"]
    with clock.at(AT_ONCE):
        written = {
            "lines": [one_line("started", wall(f"{MONDAY}T10:00")), one_line("ended", AT_ONCE)],
            "sets": [one_set(house, AT_ONCE)],
        }
        assert Api(house.aide).post(f"sessions/{monday}/records/", written).json()["state"] == "done"
        refresh_flags()
    return booked


def start(house: House, session: int, moment: datetime) -> HttpResponse:
    with clock.at(moment):
        return Api(house.aide).post(
            f"sessions/{session}/start/", {"event_id": str(uuid4()), "identified_by": "said their name"}
        )


def test_at_once_a_flag_offers_the_next_time_that_keeps_all_rules(house: House, wednesday: int) -> None:
    with clock.at(AT_ONCE):
        api = Api(house.coordinator)
        (flag,) = api.get("flags/", kind="overtaken", open="true").json()["results"]
        told = api.get(f"flags/{flag['id']}/times/").json()

    assert (flag["sessions"], flag["owner"]) == ([wednesday], "coordinator")
    assert flag["due_at"] == wall(f"{WEDNESDAY}T10:30").isoformat()
    assert (told["session"], told["moves"], told["why"]) == (wednesday, [], "")
    assert told["keeps"][0]["starts_at"] == wall(f"{WEDNESDAY}T10:36").isoformat()


@pytest.mark.parametrize("moment", ["10:30:00", "10:33:59"])
def test_nobody_acts_and_a_start_before_recovery_is_refused(house: House, wednesday: int, moment: str) -> None:
    refused = start(house, wednesday, wall(f"{WEDNESDAY}T{moment}"))

    assert problem_of(refused) == (409, "cannot-start")
    assert refused.json()["allowed_from"] == wall(f"{WEDNESDAY}T10:34").isoformat()


def test_from_the_end_of_recovery_it_starts_and_the_flag_is_gone(house: House, wednesday: int) -> None:
    moment = wall(f"{WEDNESDAY}T10:34:00")

    assert start(house, wednesday, moment).status_code == 200
    with clock.at(moment):
        refresh_flags()
        assert Api(house.coordinator).get("flags/", kind="overtaken", open="true").json()["results"] == []
