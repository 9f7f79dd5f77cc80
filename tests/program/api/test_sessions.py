"""Sessions by the API: read as of now, written about, given up, withdrawn."""

from datetime import timedelta

import pytest

from program import clock
from program.models import Record, Session, Set
from tests.conftest import House
from tests.program.api.arranging import at, booked, one_line, one_set
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")
REFUSED = (403, "not-allowed")


def test_a_session_is_told_by_the_clock_of_its_building(arrowfen: House, stranger) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600), stations=4)
    path = f"sessions/{session.pk}/"

    assert problem_of(Api(stranger).get(path)) == NOTHING
    told = Api(arrowfen.aide).get(path).json()

    assert (told["starts_at"], told["state"], told["is_late"]) == ("2026-11-30T10:00:00-05:00", "published", False)
    assert (told["stations_used"], told["left_out"]) == ("4 of 5", ["E"])
    assert [slot["station_name"] for slot in told["slots"]] == ["A", "B", "C", "D"]


def test_a_session_is_late_after_the_grace_and_not_before(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    path = f"sessions/{session.pk}/"

    with clock.at(at(arrowfen, 0, 630)):
        assert Api(arrowfen.aide).get(path).json()["is_late"] is False
    with clock.at(at(arrowfen, 0, 631)):
        assert Api(arrowfen.aide).get(path).json()["is_late"] is True


def test_a_booking_cut_by_what_happened_says_from_when_it_may_start(arrowfen: House) -> None:
    rose = arrowfen.resident()
    monday = booked(arrowfen, rose, at(arrowfen, 0, 600))
    wednesday = booked(arrowfen, rose, at(arrowfen, 2, 630))
    with clock.at(at(arrowfen, 0, 640)):
        sent = {
            "lines": [one_line("started", at(arrowfen, 0, 600)), one_line("ended", at(arrowfen, 0, 634))],
            "sets": [one_set(arrowfen, at(arrowfen, 0, 633))],
        }
        done = Api(arrowfen.aide).post(f"sessions/{monday.pk}/records/", sent).json()
        told = Api(arrowfen.aide).get(f"sessions/{wednesday.pk}/").json()

    assert (done["state"], done["sets_done"]) == ("done", 1)
    assert (told["is_overtaken"], told["held_from"]) == (True, "2026-12-02T10:34:00-05:00")


def test_what_happened_is_written_once_however_often_it_arrives(arrowfen: House, stranger) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    path = f"sessions/{session.pk}/records/"
    with clock.at(at(arrowfen, 0, 640)):
        sent = {
            "lines": [one_line("started", at(arrowfen, 0, 600))],
            "sets": [one_set(arrowfen, at(arrowfen, 0, 606))],
        }
        assert problem_of(Api(stranger).post(path, sent)) == NOTHING
        assert [Api(arrowfen.aide).post(path, sent).status_code for _ in range(2)] == [200, 200]

    assert (Record.objects.filter(kind="started").count(), Set.objects.count()) == (1, 1)


@pytest.mark.parametrize("kind", ["published", "moved", "withdrawn"])
def test_a_line_of_the_plan_cannot_be_written_by_hand(arrowfen: House, kind: str) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    sent = {"lines": [one_line(kind, clock.now(), reason="declined")]}

    assert problem_of(Api(arrowfen.aide).post(f"sessions/{session.pk}/records/", sent)) == (422, "invalid")


def test_what_lies_in_the_future_cannot_have_happened(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    sent = {"lines": [one_line("started", clock.now() + timedelta(minutes=1))]}

    assert problem_of(Api(arrowfen.aide).post(f"sessions/{session.pk}/records/", sent)) == (409, "in-the-future")


def test_a_coordinator_withdraws_a_session(arrowfen: House, stranger) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    path, sent = f"sessions/{session.pk}/withdraw/", {"reason": "closed"}

    assert problem_of(Api(stranger).post(path, sent, of=session)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, sent, of=session)) == REFUSED
    assert Api(arrowfen.coordinator).post(path, sent, of=session).json()["state"] == "withdrawn"
    session.refresh_from_db()
    again = Api(arrowfen.coordinator).post(path, sent, of=session)
    assert problem_of(again) == (409, "session-not-open")
    assert again.json()["state"] == "withdrawn"


def test_staff_give_up_a_session_and_say_why(arrowfen: House, stranger) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    path = f"sessions/{session.pk}/give-up/"

    assert problem_of(Api(stranger).post(path, {"reason": "declined"}, of=session)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, {}, of=session)) == (422, "invalid")
    assert Api(arrowfen.aide).post(path, {"reason": "declined"}, of=session).json()["state"] == "given up"


def test_a_visit_that_nobody_had_published_is_stored_and_stands_apart(arrowfen: House, stranger) -> None:
    with clock.at(at(arrowfen, 0, 640)):
        sent = {
            "resident": arrowfen.resident().pk,
            "starts_at": at(arrowfen, 0, 600).isoformat(),
            "ends_at": at(arrowfen, 0, 630).isoformat(),
            "lines": [one_line("started", at(arrowfen, 0, 600))],
            "sets": [one_set(arrowfen, at(arrowfen, 0, 606))],
        }
        assert problem_of(Api(stranger).post("sessions/unplanned/", sent)) == (422, "invalid")
        answer = Api(arrowfen.aide).post("sessions/unplanned/", sent)

    assert (answer.status_code, answer.json()["state"], answer.json()["published_at"]) == (201, "done", None)


def test_what_was_written_for_the_wrong_resident_moves_to_the_right_one(arrowfen: House, stranger) -> None:
    wrong = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    right = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 660))
    with clock.at(at(arrowfen, 0, 640)):
        sent = {
            "lines": [one_line("started", at(arrowfen, 0, 600))],
            "sets": [one_set(arrowfen, at(arrowfen, 0, 606))],
        }
        Api(arrowfen.aide).post(f"sessions/{wrong.pk}/records/", sent)
        wrong.refresh_from_db()
        path, moved = f"sessions/{wrong.pk}/move-to-resident/", {"session": right.pk, "because": "similar names"}

        assert problem_of(Api(stranger).post(path, moved, of=wrong)) == NOTHING
        assert problem_of(Api(arrowfen.aide).post(path, moved, of=wrong)) == REFUSED
        assert Api(arrowfen.coordinator).post(path, moved, of=wrong).json()["sets_done"] == 0

    assert Session.objects.get(pk=right.pk).sets_done == 1
    told = Api(arrowfen.aide).get("sets/", session=wrong.pk).json()["results"]
    assert [row["replaced_because"] for row in told] == ["similar names"]
    assert Api(arrowfen.aide).get("sets/", session=wrong.pk, replaced="false").json()["results"] == []


def test_records_and_sets_of_another_building_are_not_there(arrowfen: House, stranger) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))

    assert [row["kind"] for row in Api(arrowfen.aide).get("records/").json()["results"]] == ["published"]
    assert Api(stranger).get("records/").json()["results"] == []
    assert problem_of(Api(stranger).get("records/", session=session.pk)) == (400, "invalid-filter")


def test_a_week_is_that_of_the_building_named(arrowfen: House) -> None:
    rose = arrowfen.resident()
    sunday_night = booked(arrowfen, rose, at(arrowfen, 6, 23 * 60))
    monday = booked(arrowfen, arrowfen.resident(), at(arrowfen, 7, 600))

    def found(**asked: object) -> list[int]:
        return [row["id"] for row in Api(arrowfen.aide).get("sessions/", **asked).json()["results"]]

    assert found(building=arrowfen.building.pk, week="2026-W49") == [sunday_night.pk]
    assert found(building=arrowfen.building.pk, week="2026-W50") == [monday.pk]
    assert found(**{"from": monday.starts_at.isoformat()}) == [monday.pk]
    assert found(until=monday.starts_at.isoformat()) == [sunday_night.pk]
    assert problem_of(Api(arrowfen.aide).get("sessions/", week="2026-W49")) == (400, "invalid-filter")


@pytest.mark.parametrize("reason", ["out", "closed", "hospital", "declined"])
def test_what_nobody_recorded_of_a_day_that_is_over_is_not_withdrawn(arrowfen: House, reason: str) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    path = f"sessions/{session.pk}"
    with clock.at(at(arrowfen, 7, 600)):
        refused = Api(arrowfen.coordinator).post(f"{path}/withdraw/", {"reason": reason}, of=session)
        given_up = Api(arrowfen.coordinator).post(f"{path}/give-up/", {"reason": reason}, of=session)

    assert problem_of(refused) == (409, "session-not-open")
    assert refused.json()["detail"] == (
        "This session is not recorded, so it cannot be withdrawn. Enter what happened, or give it up with the reason."
    )
    assert given_up.json()["state"] == "given up"


def test_an_absence_that_is_entered_late_takes_off_what_it_lay_over(arrowfen: House) -> None:
    resident = arrowfen.resident()
    session = booked(arrowfen, resident, at(arrowfen, 0, 600))
    sent = {"resident": resident.pk, "kind": "away", "reason": "leave", "starts_at": at(arrowfen, 0, 480).isoformat()}
    with clock.at(at(arrowfen, 1, 600)):
        assert Api(arrowfen.aide).post("holds/", sent).status_code == 201
        told = Api(arrowfen.aide).get(f"sessions/{session.pk}/").json()

    assert told["state"] == "withdrawn"
