"""Late, and coming back: one flag while it is late, none once it is done; missed with a reason, else not recorded."""

from typing import Any
from uuid import uuid4

import pytest

from program import clock
from program.models import Resident
from scheduling.tasks import refresh_flags
from tests.conftest import House
from tests.program.api.arranging import one_line, one_set
from tests.program.api.asking import Api
from tests.walkthroughs.following import book, wall, with_aide

MONDAY = "2026-11-30"


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen)


@pytest.fixture
def resident(house: House) -> Resident:
    return house.resident()


@pytest.fixture
def nine(house: House, resident: Resident) -> int:
    return book(house, resident, f"{MONDAY}T09:00").json()["id"]


def flags_at(house: House, moment: str, *kinds: str) -> list[dict[str, Any]]:
    """The open flags of these kinds after a pass at that moment of Monday."""
    with clock.at(wall(f"{MONDAY}T{moment}")):
        refresh_flags()
        found = Api(house.coordinator).get("flags/", building=house.building.pk, open="true").json()["results"]
    return [flag for flag in found if flag["kind"] in kinds]


def state_at(house: House, session: int, moment: str) -> str:
    with clock.at(wall(f"{MONDAY}T{moment}")):
        return Api(house.coordinator).get(f"sessions/{session}/").json()["state"]


def attempt(house: House, session: int) -> None:
    with clock.at(wall(f"{MONDAY}T09:05")):
        line = one_line("attempt", wall(f"{MONDAY}T09:05"), reason="asleep")
        assert Api(house.aide).post(f"sessions/{session}/records/", {"lines": [line]}).status_code == 200


def test_half_past_is_not_late_and_a_minute_later_it_is_with_free_times(house: House, nine: int) -> None:
    assert flags_at(house, "09:30:00", "late") == []
    (flag,) = flags_at(house, "09:31:00", "late")
    with clock.at(wall(f"{MONDAY}T09:31")):
        told = Api(house.coordinator).get(f"flags/{flag['id']}/times/").json()

    assert (flag["sessions"], flag["cause"]) == ([nine], f"session:{nine}")
    assert told["keeps"][0]["starts_at"] == wall(f"{MONDAY}T09:36").isoformat()


def test_started_and_done_it_is_late_no_more(house: House, nine: int) -> None:
    assert len(flags_at(house, "10:00", "late")) == 1
    with clock.at(wall(f"{MONDAY}T10:12")):
        sent = {"event_id": str(uuid4()), "identified_by": "said their name"}
        assert Api(house.aide).post(f"sessions/{nine}/start/", sent).status_code == 200
    assert flags_at(house, "10:13", "late") == []
    with clock.at(wall(f"{MONDAY}T10:42")):
        end = wall(f"{MONDAY}T10:42")
        written = {"lines": [one_line("ended", end)], "sets": [one_set(house, end)]}
        assert Api(house.aide).post(f"sessions/{nine}/records/", written).json()["state"] == "done"

    assert flags_at(house, "18:00", "late", "missed", "not recorded") == []
    assert state_at(house, nine, "18:00") == "done"


def test_an_attempt_that_nothing_follows_is_missed_when_the_day_closes(house: House, nine: int) -> None:
    attempt(house, nine)

    assert (state_at(house, nine, "16:59:59"), state_at(house, nine, "17:00:00")) == ("published", "missed")
    (flag,) = flags_at(house, "17:00:00", "late", "missed", "not recorded")
    assert (flag["kind"], flag["cause"]) == ("missed", f"session:{nine}")
    lines = Api(house.coordinator).get("records/", session=nine).json()["results"]
    assert [line["reason_class"] for line in lines if line["kind"] == "attempt"] == ["resident"]


def test_with_nothing_written_it_is_not_recorded_and_in_no_class(house: House, nine: int) -> None:
    (flag,) = flags_at(house, "17:00:00", "late", "missed", "not recorded")

    assert (flag["kind"], flag["cause"], flag["sessions"]) == ("not recorded", MONDAY, [nine])
    lines = Api(house.coordinator).get("records/", session=nine).json()["results"]
    assert [line["reason_class"] for line in lines] == [""]
