"""The day by the API: what is missing before a start, starting, warning signs, incidents, and lines that come late."""

from datetime import timedelta
from uuid import uuid4

import pytest

from program import clock
from program.models import Hold, Incident, Record, Session, Set
from tests.conftest import House
from tests.program.api.arranging import at, booked, one_line, one_set
from tests.program.api.asking import Api, problem_of

NOTHING, REFUSED = (404, "not-found"), (403, "not-allowed")
TEN = 600
BY_NAME = "said their name"


@pytest.fixture
def session(arrowfen: House) -> Session:
    return booked(arrowfen, arrowfen.resident(given_name="Rose", family_name="Oak"), at(arrowfen, 0, TEN))


def a_start(**more: object) -> dict[str, object]:
    return {"event_id": str(uuid4()), "identified_by": BY_NAME} | more


def a_sign(happened_at: str, **more: object) -> dict[str, object]:
    return {"event_id": str(uuid4()), "sign": "dizziness", "happened_at": happened_at} | more


def test_readiness_says_what_is_missing_and_from_when(arrowfen: House, session: Session, stranger) -> None:
    path = f"sessions/{session.pk}/readiness/"
    alike = arrowfen.resident(given_name="Rose", family_name="Elm")
    hold = {"resident": session.resident, "kind": "away", "reason": "leave", "starts_at": at(arrowfen, 0, 540)}
    Hold.objects.create(
        building=arrowfen.building, ends_at=at(arrowfen, 0, 615), set_by=arrowfen.aide, set_at=clock.now(), **hold
    )

    assert problem_of(Api(stranger).get(path)) == NOTHING
    with clock.at(at(arrowfen, 0, TEN)):
        told = Api(arrowfen.aide).get(path).json()
    with clock.at(at(arrowfen, 0, 615)):
        later = Api(arrowfen.aide).get(path).json()

    assert (told["can_start"], told["allowed_from"]) == (False, "2026-11-30T10:15:00-05:00")
    assert told["missing"] == [{"rule": "away", "sentence": "Rose Oak is away (leave) until Mon 30 Nov 10:15."}]
    assert (told["similar"], later["can_start"], later["missing"]) == ([alike.pk], True, [])


def test_a_session_is_started_once_however_often_it_is_sent(arrowfen: House, session: Session, stranger) -> None:
    path, sent = f"sessions/{session.pk}/start/", a_start()
    with clock.at(at(arrowfen, 0, TEN)):
        assert problem_of(Api(stranger).post(path, sent)) == NOTHING
        first = Api(arrowfen.aide).post(path, sent).json()
    with clock.at(at(arrowfen, 0, 605)):
        again = Api(arrowfen.aide).post(path, sent)

    assert (first["state"], first["started_at"]) == ("started", "2026-11-30T10:00:00-05:00")
    assert (again.status_code, again.json()["started_at"]) == (200, "2026-11-30T10:00:00-05:00")
    line = Api(arrowfen.aide).get("records/", session=session.pk, kind="started").json()["results"]
    assert [row["identified_by"] for row in line] == [BY_NAME]


def test_a_refused_start_names_every_rule_and_writes_nothing(arrowfen: House, session: Session) -> None:
    session.resident.clearances.update(withdrawn_at=clock.now())
    with clock.at(at(arrowfen, 0, TEN)):
        answer = Api(arrowfen.aide).post(f"sessions/{session.pk}/start/", a_start())

    assert problem_of(answer) == (409, "cannot-start")
    assert answer.json()["missing"] == [
        {
            "rule": "no clearance",
            "sentence": "There is no valid clearance. A clinician must clear Rose Oak first.",
        }
    ]
    assert answer.json()["allowed_from"] is None
    assert Record.objects.filter(kind="started").count() == 0


def test_a_start_says_how_the_resident_was_known(arrowfen: House, session: Session) -> None:
    with clock.at(at(arrowfen, 0, TEN)):
        for wrong in ({"identified_by": "by the shoes"}, {"identified_by": ""}):
            answer = Api(arrowfen.aide).post(f"sessions/{session.pk}/start/", a_start(**wrong))
            assert problem_of(answer) == (422, "invalid")
            assert [error["field"] for error in answer.json()["errors"]] == ["identified_by"]


def test_times_of_a_fast_phone_are_put_right_and_both_are_told(arrowfen: House, session: Session) -> None:
    fast = timedelta(minutes=7)
    ended = at(arrowfen, 0, 606)
    with clock.at(at(arrowfen, 0, 640)):
        sent = {
            "sent_at": (clock.now() + fast).isoformat(),
            "lines": [one_line("started", at(arrowfen, 0, TEN) + fast)],
            "sets": [one_set(arrowfen, ended + fast)],
        }
        Api(arrowfen.aide).post(f"sessions/{session.pk}/records/", sent)
        told = Api(arrowfen.aide).get("sets/", session=session.pk).json()["results"]

    session.refresh_from_db()
    assert (session.started_at, session.last_set_ended_at) == (at(arrowfen, 0, TEN), ended)
    assert [(row["ended_at"], row["phone_happened_at"]) for row in told] == [
        ("2026-11-30T10:06:00-05:00", "2026-11-30T10:13:00-05:00")
    ]


def test_a_warning_sign_ends_the_session_and_waits_for_a_clinician(arrowfen: House, session: Session, stranger) -> None:
    path = f"sessions/{session.pk}/warning-sign/"
    with clock.at(at(arrowfen, 0, 610)):
        sent = a_sign(clock.now().isoformat())
        assert problem_of(Api(stranger).post(path, sent)) == NOTHING
        answers = [Api(arrowfen.aide).post(path, sent) for _ in range(2)]
        waiting = Api(arrowfen.clinician).get("incidents/", seen="false").json()["results"]

    told = answers[0].json()
    assert [answer.status_code for answer in answers] == [201, 201]
    assert (told["sign"], told["happened_at"], told["seen_at"]) == ("dizziness", "2026-11-30T10:10:00-05:00", None)
    assert [row["id"] for row in waiting] == [told["id"]] == [answers[1].json()["id"]]
    assert Hold.objects.get().resident_id == session.resident_id


def test_only_a_clinician_sees_to_an_incident_and_only_once(arrowfen: House, session: Session, stranger) -> None:
    with clock.at(at(arrowfen, 0, 610)):
        Api(arrowfen.aide).post(f"sessions/{session.pk}/warning-sign/", a_sign(clock.now().isoformat()))
        incident = Incident.objects.get()
        path = f"incidents/{incident.pk}/see/"

        assert problem_of(Api(stranger).post(path, {}, of=incident)) == NOTHING
        assert problem_of(Api(arrowfen.aide).post(path, {}, of=incident)) == REFUSED
        assert problem_of(Api(arrowfen.clinician).post(path, {})) == (428, "version-missing")
        seen = Api(arrowfen.clinician).post(path, {"note": "resting"}, of=incident).json()
        again = Api(arrowfen.clinician).post(path, {}, of=Incident.objects.get())

    assert (seen["seen_by"], seen["seen_note"]) == (arrowfen.clinician.pk, "resting")
    assert problem_of(again) == (409, "already-seen")
    assert Api(arrowfen.aide).get("incidents/", seen="true").json()["results"][0]["seen_by"] == arrowfen.clinician.pk
    assert Api(stranger).get("incidents/").json()["results"] == []


def test_a_line_that_gives_a_session_up_may_come_late_and_twice(arrowfen: House, session: Session) -> None:
    sent = {"lines": [one_line("given up", at(arrowfen, 0, TEN), reason="declined")]}
    with clock.at(at(arrowfen, 1, TEN)):
        answers = [Api(arrowfen.aide).post(f"sessions/{session.pk}/records/", sent).json() for _ in range(2)]
        told = Api(arrowfen.aide).get("records/", session=session.pk, kind="given up").json()["results"]

    assert [answer["state"] for answer in answers] == ["given up", "given up"]
    assert [(row["reason_class"], row["late_entry"]) for row in told] == [("resident", "24 h")]


@pytest.mark.parametrize("kind", ["given up", "attempt"])
def test_a_line_that_needs_a_reason_is_refused_without_one(arrowfen: House, session: Session, kind: str) -> None:
    sent = {"lines": [one_line(kind, clock.now())]}

    answer = Api(arrowfen.aide).post(f"sessions/{session.pk}/records/", sent)

    assert problem_of(answer) == (422, "invalid")
    assert [error["sentence"] for error in answer.json()["errors"]] == ["Say why: choose a reason."]


def test_a_visit_nobody_had_published_sent_twice_is_one_visit(arrowfen: House) -> None:
    """With another Idempotency-Key each time, as two phones would."""
    with clock.at(at(arrowfen, 0, 640)):
        sent = {
            "resident": arrowfen.resident().pk,
            "starts_at": at(arrowfen, 0, TEN).isoformat(),
            "ends_at": at(arrowfen, 0, 630).isoformat(),
            "lines": [one_line("started", at(arrowfen, 0, TEN))],
            "sets": [one_set(arrowfen, at(arrowfen, 0, 606))],
        }
        answers = [Api(arrowfen.aide).post("sessions/unplanned/", sent) for _ in range(2)]

    assert [answer.status_code for answer in answers] == [201, 201]
    assert len({answer.json()["id"] for answer in answers}) == 1
    assert (Session.objects.count(), Set.objects.count()) == (1, 1)


def test_a_visit_that_begins_now_by_a_fast_phone_is_taken_in_our_time(arrowfen: House) -> None:
    fast = timedelta(minutes=7)
    with clock.at(at(arrowfen, 0, TEN)):
        sent = {
            "resident": arrowfen.resident().pk,
            "starts_at": (clock.now() + fast).isoformat(),
            "ends_at": (clock.now() + fast + timedelta(minutes=30)).isoformat(),
            "sent_at": (clock.now() + fast).isoformat(),
            "lines": [one_line("started", clock.now() + fast)],
        }
        told = Api(arrowfen.aide).post("sessions/unplanned/", sent)

    assert told.status_code == 201
    assert (told.json()["starts_at"], told.json()["ends_at"]) == (
        "2026-11-30T10:00:00-05:00",
        "2026-11-30T10:30:00-05:00",
    )
