"""Paper after an outage: who did it, who wrote it down, how late, and what it moves."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from program import clock
from program.models import Record, Resident, Role, Session, Set, User
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import one_line, one_set
from tests.program.api.asking import Api
from tests.walkthroughs.following import book, wall, with_aide

TUESDAY, WEDNESDAY, THURSDAY, FRIDAY = (f"2026-12-0{day}" for day in (1, 2, 3, 4))
WEDNESDAY_FOUR = wall(f"{WEDNESDAY}T16:00")


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen)


@pytest.fixture
def q(house: House) -> User:
    return factories.with_role(house.building, Role.Kind.STAFF, name="Q")


@pytest.fixture
def resident(house: House) -> Resident:
    return house.resident()


@pytest.fixture
def published(house: House, resident: Resident) -> tuple[int, int]:
    """R1 is published Tuesday and Thursday; the outage moved Tuesday's from 09:30 to 10:00, on paper alone."""
    answers = [book(house, resident, start) for start in (f"{TUESDAY}T09:30", f"{THURSDAY}T10:00")]
    assert [answer.status_code for answer in answers] == [201, 201]
    return answers[0].json()["id"], answers[1].json()["id"]


def on_paper(house: House, day: str, start: str, end: str) -> dict[str, Any]:
    """A sheet filled in by aide P, who did it."""
    return {
        "done_by": house.aide.pk,
        "lines": [one_line("started", wall(f"{day}T{start}")), one_line("ended", wall(f"{day}T{end}"))],
        "sets": [one_set(house, wall(f"{day}T{end}"))],
    }


def enter(user: User, path: str, sent: dict[str, Any]) -> dict[str, Any]:
    with clock.at(WEDNESDAY_FOUR):
        answer = Api(user).post(path, sent)
    assert answer.status_code in (200, 201)
    return answer.json()


def first_sheet(house: House, q: User, published: tuple[int, int]) -> dict[str, Any]:
    return enter(q, f"sessions/{published[0]}/records/", on_paper(house, TUESDAY, "10:00", "10:30"))


def second_sheet(house: House, q: User, resident: Resident) -> dict[str, Any]:
    visit = {
        "resident": resident.pk,
        "starts_at": wall(f"{WEDNESDAY}T11:00").isoformat(),
        "ends_at": wall(f"{WEDNESDAY}T11:30").isoformat(),
    }
    return enter(q, "sessions/unplanned/", visit | on_paper(house, WEDNESDAY, "11:00", "11:30"))


def told_of(house: House, session_id: int) -> dict[str, Any]:
    with clock.at(WEDNESDAY_FOUR):
        return Api(house.coordinator).get(f"sessions/{session_id}/").json()


def moved(house: House, session_id: int, start: str) -> tuple[int, str]:
    with clock.at(WEDNESDAY_FOUR):
        session = Session.objects.get(pk=session_id)
        sent = {"starts_at": wall(start).isoformat()}
        answer = Api(house.coordinator).post(f"sessions/{session_id}/move/", sent, of=session)
    return answer.status_code, answer.json().get("detail", "")


def test_the_entry_says_who_did_it_who_wrote_it_when_and_how_late(
    house: House, q: User, published: tuple[int, int]
) -> None:
    assert first_sheet(house, q, published)["state"] == "done"

    ended = Api(house.aide).get("records/", session=published[0], kind="ended").json()["results"]
    assert [(row["done_by"], row["entered_by"]) for row in ended] == [(house.aide.pk, q.pk)]
    assert [(row["entered_at"], row["late_entry"]) for row in ended] == [("2026-12-02T16:00:00-05:00", "29 h 30 min")]


def test_thursday_is_overtaken_and_first_allowed_half_an_hour_later(
    house: House, q: User, published: tuple[int, int]
) -> None:
    assert told_of(house, published[1])["is_overtaken"] is False
    first_sheet(house, q, published)
    thursday = told_of(house, published[1])

    assert (thursday["is_overtaken"], thursday["held_from"]) == (True, f"{THURSDAY}T10:30:00-05:00")
    assert moved(house, published[1], f"{THURSDAY}T10:24")[0] == 409
    assert moved(house, published[1], f"{THURSDAY}T10:30")[0] == 200


def test_the_visit_of_the_second_sheet_is_stored_and_is_the_one_too_soon(
    house: House, q: User, resident: Resident, published: tuple[int, int]
) -> None:
    first_sheet(house, q, published)
    visit = second_sheet(house, q, resident)

    assert (visit["state"], visit["is_too_soon"], visit["published_at"]) == ("done", True, None)
    before = told_of(house, published[0])
    rest = datetime.fromisoformat(visit["started_at"]) - datetime.fromisoformat(before["ended_at"])
    assert rest == timedelta(hours=24, minutes=30)
    assert Session.objects.filter(is_too_soon=True).count() == 1


def test_thursday_is_then_first_allowed_on_friday_and_attendance_counts_tuesday_only(
    house: House, q: User, resident: Resident, published: tuple[int, int]
) -> None:
    first_sheet(house, q, published)
    second_sheet(house, q, resident)
    thursday = told_of(house, published[1])

    assert (thursday["is_overtaken"], thursday["held_from"]) == (True, f"{FRIDAY}T11:30:00-05:00")
    with clock.at(WEDNESDAY_FOUR):
        rows = Api(house.coordinator).get("sessions/", resident=resident.pk).json()["results"]
    assert [row["id"] for row in rows if row["state"] == "done" and row["published_at"]] == [published[0]]
    assert moved(house, published[1], f"{FRIDAY}T11:24")[0] == 409
    assert moved(house, published[1], f"{FRIDAY}T11:30")[0] == 200


def test_the_sheets_in_the_other_order_come_to_the_same(
    house: House, q: User, resident: Resident, published: tuple[int, int]
) -> None:
    second_sheet(house, q, resident)
    first_sheet(house, q, published)

    assert told_of(house, published[1])["held_from"] == f"{FRIDAY}T11:30:00-05:00"
    assert list(Session.objects.filter(is_too_soon=True).values_list("published_at", flat=True)) == [None]


def test_nothing_is_deleted_and_both_sheets_sent_again_change_nothing(
    house: House, q: User, published: tuple[int, int]
) -> None:
    sheet = on_paper(house, TUESDAY, "10:00", "10:30")
    kept = list(Record.objects.values_list("pk", flat=True))
    told = [enter(q, f"sessions/{published[0]}/records/", sheet) for _ in range(2)]

    assert [row["sets_done"] for row in told] == [1, 1]
    assert set(kept) <= set(Record.objects.values_list("pk", flat=True))
    assert (Set.objects.count(), Record.objects.filter(replaced_at__isnull=False).count()) == (1, 0)
