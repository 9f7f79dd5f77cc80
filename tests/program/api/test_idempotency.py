"""A request that comes twice is done once. The measure: draft-ietf-httpapi-idempotency-key-header, 2.2 to 2.7 and 5."""

import threading
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction

from program import clock
from program.models import Answer, Audit, Unit
from program.models.scoped import set_scope
from tests.conftest import House, build_house
from tests.program.api.asking import Api, problem_of

KEY = "key-of-a-test-1"


def unit(house: House, name: str = "East wing") -> dict[str, object]:
    return {"building": house.building.pk, "name": name}


def made(house: House) -> int:
    return Unit.objects.of(house.building).filter(name__startswith="East").count()


def test_a_request_without_a_key_is_refused(arrowfen: House) -> None:
    answer = Api(arrowfen.coordinator).client.post("/api/units/", unit(arrowfen), content_type="application/json")

    assert problem_of(answer) == (400, "idempotency-key-missing")


@pytest.mark.parametrize("key", ["short", "with spaces in it", "k" * 81])
def test_a_key_that_is_none_is_refused(arrowfen: House, key: str) -> None:
    assert problem_of(Api(arrowfen.coordinator).post("units/", unit(arrowfen), key=key)) == (
        400,
        "idempotency-key-invalid",
    )


def test_the_same_request_again_is_answered_the_same_and_does_nothing(arrowfen: House) -> None:
    api = Api(arrowfen.coordinator)
    first, second = (api.post("units/", unit(arrowfen), key=KEY) for _ in range(2))

    assert (first.status_code, second.status_code) == (201, 201)
    assert second.content == first.content
    for name in ("ETag", "Location", "Content-Type"):
        assert second.headers[name] == first.headers[name]
    assert ("Idempotency-Replayed" in first.headers, second.headers["Idempotency-Replayed"]) == (False, "true")
    assert made(arrowfen) == 1


def test_the_same_key_with_another_request_is_refused(arrowfen: House) -> None:
    api = Api(arrowfen.coordinator)
    api.post("units/", unit(arrowfen), key=KEY)

    assert problem_of(api.post("units/", unit(arrowfen, "East tower"), key=KEY)) == (422, "idempotency-key-reused")
    assert made(arrowfen) == 1


def test_the_same_key_of_another_person_is_another_key(arrowfen: House, stranger, brindlewharf: House) -> None:
    Api(arrowfen.coordinator).post("units/", unit(arrowfen), key=KEY)
    answer = Api(stranger).post("units/", unit(brindlewharf), key=KEY)

    assert (answer.status_code, "Idempotency-Replayed" in answer.headers) == (201, False)
    assert (made(arrowfen), made(brindlewharf)) == (1, 1)


def test_a_key_is_forgotten_after_a_day(arrowfen: House) -> None:
    api = Api(arrowfen.coordinator)
    api.post("units/", unit(arrowfen), key=KEY)
    with clock.at(clock.now() + timedelta(hours=24, seconds=1)):
        # The sign-in of the day before has ended.
        assert Api(arrowfen.coordinator).post("units/", unit(arrowfen, "East tower"), key=KEY).status_code == 201

    assert made(arrowfen) == 2


def test_a_refused_request_gives_its_key_back(arrowfen: House) -> None:
    api = Api(arrowfen.coordinator)
    api.post("units/", unit(arrowfen))

    assert problem_of(api.post("units/", unit(arrowfen), key=KEY)) == (422, "invalid")
    assert api.post("units/", unit(arrowfen, "East tower"), key=KEY).status_code == 201


def test_a_change_that_is_sent_again_is_not_stale(arrowfen: House) -> None:
    rose = arrowfen.resident()
    api = Api(arrowfen.coordinator)
    first, second = (api.post(f"residents/{rose.pk}/withdraw-agreement/", key=KEY, of=rose) for _ in range(2))

    assert (first.status_code, second.status_code) == (200, 200)
    assert second.json() == first.json()


def test_an_answer_is_not_given_again_to_somebody_whose_role_has_ended(arrowfen: House) -> None:
    rose = arrowfen.resident()
    api = Api(arrowfen.coordinator)
    api.post(f"residents/{rose.pk}/withdraw-agreement/", key=KEY, of=rose)
    arrowfen.coordinator.roles.update(until=clock.now())

    assert problem_of(api.post(f"residents/{rose.pk}/withdraw-agreement/", key=KEY, of=rose)) == (404, "not-found")


def test_an_answer_given_again_is_a_look_that_is_on_record(arrowfen: House) -> None:
    rose = arrowfen.resident()
    api = Api(arrowfen.coordinator)
    for _ in range(2):
        api.post(f"residents/{rose.pk}/withdraw-agreement/", key=KEY, of=rose)

    assert [*Audit.objects.filter(action="view").values_list("resident_ids", flat=True)] == [[rose.pk], [rose.pk]]


def test_a_file_counts_by_its_bytes_and_not_by_the_boundary_of_its_form(arrowfen: House) -> None:
    api = Api(arrowfen.coordinator)

    def send(content: bytes, key: str = KEY, boundary: str = "one"):
        body = (
            f'--{boundary}\r\nContent-Disposition: form-data; name="building"\r\n\r\n{arrowfen.building.pk}\r\n'
            f'--{boundary}\r\nContent-Disposition: form-data; name="kind"\r\n\r\ncalendars\r\n'
            f'--{boundary}\r\nContent-Disposition: form-data; name="file"; filename="a.ics"\r\n'
            f"Content-Type: text/calendar\r\n\r\n{content.decode()}\r\n--{boundary}--\r\n"
        )
        return api.post("imports/", body, key=key, content_type=f"multipart/form-data; boundary={boundary}")

    empty = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//test//EN\r\nEND:VCALENDAR"
    first, second = send(empty), send(empty, boundary="two")

    assert (first.status_code, second.headers.get("Idempotency-Replayed")) == (201, "true")
    assert problem_of(send(empty + b"\r\n")) == (422, "idempotency-key-reused")


@pytest.mark.django_db(transaction=True)
def test_a_twin_waits_for_the_first_and_gets_its_answer() -> None:
    house, one, other = _two_phones()
    answers: list[object] = []
    twin = threading.Thread(target=_ask, args=(other, house, answers))
    with transaction.atomic():
        first = one.post("units/", unit(house), key=KEY)
        twin.start()
        twin.join(timeout=0.3)
        assert answers == []  # still waiting for the index
    twin.join(timeout=10)

    assert [answer.content for answer in answers] == [first.content]
    assert answers[0].headers["Idempotency-Replayed"] == "true"


@pytest.mark.django_db(transaction=True)
def test_a_twin_that_waits_too_long_is_told_to_ask_again() -> None:
    house, one, other = _two_phones()
    answers: list[object] = []
    twin = threading.Thread(target=_ask, args=(other, house, answers))
    with transaction.atomic():
        one.post("units/", unit(house), key=KEY)
        twin.start()
        twin.join(timeout=10)

    assert problem_of(answers[0]) == (409, "in-progress")
    assert answers[0].headers["Retry-After"] == "2"
    with transaction.atomic():
        set_scope([house.building.pk], user_id=house.coordinator.pk)
        assert (made(house), Answer.objects.count()) == (1, 1)


def _two_phones() -> tuple[House, Api, Api]:
    with transaction.atomic():
        house = build_house()
    return house, Api(house.coordinator), Api(house.coordinator)


def _ask(api: Api, house: House, answers: list[object]) -> None:
    answers.append(api.post("units/", unit(house), key=KEY))
    connection.close()


def test_a_file_is_sent_as_a_form(arrowfen: House) -> None:
    file = SimpleUploadedFile("a.ics", b"not a calendar", content_type="text/calendar")
    sent = {"building": arrowfen.building.pk, "kind": "calendars", "file": file}
    options = {"headers": {"Idempotency-Key": KEY}}
    answer = Api(arrowfen.coordinator).client.post("/api/imports/", sent, **options)

    assert problem_of(answer) == (409, "unreadable-file")
