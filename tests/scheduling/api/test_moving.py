"""Booking, moving and offered times by the API."""

import pytest

from program.models import Session
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import at, booked
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")
REFUSED = (403, "not-allowed")


@pytest.fixture
def staffed(arrowfen: House) -> House:
    """One person on the circuit all day, Monday to Saturday."""
    for day in range(6):
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, at(arrowfen, day, 0).date(), 480, 1020)
    return arrowfen


def test_a_coordinator_books_a_session_at_an_allowed_time(staffed: House, stranger) -> None:
    rose = staffed.resident()
    sent = {"resident": rose.pk, "starts_at": at(staffed, 0, 600).isoformat()}

    assert problem_of(Api(stranger).post("sessions/", sent)) == (422, "invalid")
    assert problem_of(Api(staffed.aide).post("sessions/", sent)) == REFUSED
    answer = Api(staffed.coordinator).post("sessions/", sent)

    assert answer.status_code == 201
    session = Session.objects.get()
    assert answer.headers["Location"] == f"/api/sessions/{session.pk}/"
    assert answer.json()["starts_at"] == "2026-11-30T10:00:00-05:00"


def test_a_booking_that_breaks_a_rule_is_told_which_and_from_when(staffed: House) -> None:
    rose = staffed.resident()
    booked(staffed, rose, at(staffed, 0, 600))
    sent = {"resident": rose.pk, "starts_at": at(staffed, 2, 624).isoformat()}
    answer = Api(staffed.coordinator).post("sessions/", sent)

    assert problem_of(answer) == (409, "time-not-allowed")
    assert answer.json()["rule"] == "too_soon"
    assert answer.json()["allowed_from"] == "2026-12-02T10:30:00-05:00"
    assert Session.objects.count() == 1


def test_a_coordinator_moves_a_session(staffed: House, stranger) -> None:
    session = booked(staffed, staffed.resident(), at(staffed, 0, 600))
    path, sent = f"sessions/{session.pk}/move/", {"starts_at": at(staffed, 1, 600).isoformat()}

    assert problem_of(Api(stranger).post(path, sent, of=session)) == NOTHING
    assert problem_of(Api(staffed.aide).post(path, sent, of=session)) == REFUSED
    assert problem_of(Api(staffed.coordinator).post(path, sent)) == (428, "version-missing")
    told = Api(staffed.coordinator).post(path, sent, of=session).json()

    assert (told["id"], told["starts_at"]) == (session.pk, "2026-12-01T10:00:00-05:00")
    assert problem_of(Api(staffed.coordinator).post(path, sent, of=session)) == (412, "stale-version")


def test_every_time_of_a_week_is_offered_with_its_stations(staffed: House, stranger) -> None:
    rose = staffed.resident()
    path = f"residents/{rose.pk}/times/"

    assert problem_of(Api(stranger).get(path, week="2026-W49")) == NOTHING
    times = Api(staffed.aide).get(path, week="2026-W49").json()["times"]

    assert times[0]["starts_at"] == "2026-11-30T08:00:00-05:00"
    assert {slot["station"] for slot in times[0]["slots"]} == {"A", "B", "C", "D", "E"}


def test_one_time_is_judged_with_the_rule_in_the_way(staffed: House) -> None:
    rose = staffed.resident()
    path = f"residents/{rose.pk}/times/"
    good = Api(staffed.aide).get(path, starts_at="2026-11-30T10:00:00-05:00").json()
    bad = Api(staffed.aide).get(path, starts_at="2026-11-30T12:12:00-05:00").json()

    assert (good["allowed"], good["times"][0]["ends_at"]) == (True, "2026-11-30T10:30:00-05:00")
    assert (bad["allowed"], bad["rule"], bad["times"]) == (False, "meal", [])
    assert bad["allowed_from"] == "2026-11-30T13:30:00-05:00"


def test_an_offset_whose_plus_came_as_a_space_is_understood(staffed: House) -> None:
    rose = staffed.resident()
    answer = Api(staffed.aide).client.get(f"/api/residents/{rose.pk}/times/?starts_at=2026-11-30T16:00:00+01:00")

    assert answer.json()["allowed"] is True


@pytest.mark.parametrize("asked", [{}, {"week": "2026-W49", "starts_at": "2026-11-30T10:00:00Z"}, {"week": "2026-W54"}])
def test_times_are_asked_for_by_a_week_or_by_one_start(staffed: House, asked: dict[str, str]) -> None:
    answer = Api(staffed.aide).get(f"residents/{staffed.resident().pk}/times/", **asked)

    assert problem_of(answer) == (422, "invalid")


def test_a_session_to_be_moved_does_not_stand_in_its_own_way(staffed: House) -> None:
    rose = staffed.resident()
    session = booked(staffed, rose, at(staffed, 0, 600))
    path, asked = f"residents/{rose.pk}/times/", {"starts_at": "2026-11-30T10:06:00-05:00"}

    assert Api(staffed.aide).get(path, **asked).json()["allowed"] is False
    assert Api(staffed.aide).get(path, **asked, session=session.pk).json()["allowed"] is True


def test_the_session_to_be_moved_is_one_of_the_resident(staffed: House) -> None:
    session = booked(staffed, staffed.resident(), at(staffed, 0, 600))
    path = f"residents/{staffed.resident().pk}/times/"
    answer = Api(staffed.aide).get(path, week="2026-W49", session=session.pk)

    assert [error["field"] for error in answer.json()["errors"]] == ["session"]
