"""Lines, tasks, cache keys and addresses hold no name, no note, no e-mail and no token, whatever goes wrong."""

import logging
from collections.abc import Iterator

import pytest
import redis
from celery import shared_task
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import include, path

from program.models import Role, Unit, User
from program.models.scoped import scope
from tests import factories
from tests.listening import listening, queue_of_our_own, wait_for, waiting_tasks, worker
from tests.promises.asking import METHODS, addresses, ask, client_of
from tests.promises.furnished import Furnished, a_start, furnish, place_of
from tests.promises.matrix import WORD_OF

# Stands in everything that is entered: names, rooms, notes, titles, e-mail addresses, passwords, tokens, searches.
CANARY = "canary"
TOKEN = "canary-token-9f8e7d6c5b4a"
DETAIL = "DETAIL:"


def clash_of_names() -> None:
    """Of tables with row security the database keeps the clashing key to itself; of people it quotes the name."""
    there = User.objects.filter(username__contains=CANARY).first()
    User.objects.create(username=there.username, name="Somebody else")


def clashing(request: HttpRequest) -> HttpResponse:
    clash_of_names()
    return HttpResponse()


def quoting(request: HttpRequest) -> HttpResponse:
    name = request.GET["name"]
    return HttpResponse(int(name))


# The service with two broken pages beside its own.
handler400, handler403 = "program.pages.errors.bad_request", "program.pages.errors.not_allowed"
handler404, handler500 = "program.pages.errors.not_found", "program.pages.errors.broken"
urlpatterns = [
    path("clashing/", clashing),
    path("quoting/", quoting),
    path("", include("program.config.urls")),
]


@shared_task
def clash_in_a_task(building_id: int) -> None:
    with scope([building_id]):
        clash_of_names()


@shared_task
def quote_in_a_task(building_id: int) -> None:
    with scope([building_id]):
        raise ValueError(f"{Unit.objects.get(building_id=building_id).name} has no station.")


@pytest.fixture
def here(db: None) -> Furnished:
    made = furnish("Arrowfen")
    call_them_canary(made)
    return made


def call_them_canary(there: Furnished) -> None:
    people = (there.house.coordinator, there.house.aide, there.house.clinician)
    for number, person in enumerate(people):
        name = f"{there.mark}-{number}"
        User.objects.filter(pk=person.pk).update(name=name, username=name, email=f"{name}@example.org")


def test_no_line_holds_a_canary_whoever_asks_for_whatever(here: Furnished) -> None:
    there = furnish("Brindlewharf")
    administrator = factories.with_role(None, Role.Kind.ADMINISTRATOR, name=f"{CANARY} of all")
    for one in (here, there):
        one.rows["Start"] = a_start(administrator, "start")
    actors = (None, here.house.coordinator, there.house.coordinator, administrator)
    kept: list[str] = []
    asked = 0
    with listening(logging.DEBUG) as heard:
        for actor in actors:
            client = client_of(actor, raise_request_exception=False)
            kept += tokens_of(client)
            for address in addresses():
                # The other methods differ in what is refused, not in what is written.
                for method in METHODS if actor == here.house.coordinator else ("GET",):
                    answer = ask(client, address, method, here)
                    asked += 1
                    assert CANARY not in answer.headers.get("Location", "")

    lines = heard.told("request")
    assert (len(lines), asked) == (asked, (len(METHODS) + len(actors) - 1) * len(addresses()))
    assert {200, 201, 302, 401, 403, 404, 405, 422} <= {line["status"] for line in lines}
    assert found_in(heard.text, CANARY, place_of(here.mark), place_of(there.mark), WORD_OF["token"], *kept) == []


def tokens_of(client: Client) -> list[str]:
    return [cookie.value for cookie in client.cookies.values() if cookie.value]


def found_in(text: str, *words: str) -> list[str]:
    return [word for word in words if word in text]


def ask_for_trouble(here: Furnished) -> Iterator[int]:
    """The status of requests that go wrong in every way, each with a canary in what is sent."""
    client = client_of(here.house.coordinator, raise_request_exception=False)
    building = here.house.building.pk
    stranger = Client()
    yield client.get("/canary-nowhere/").status_code
    yield client.get("/buildings/canary/residents/").status_code
    yield client.get(f"/buildings/{building}/residents/?search=canary+Rose").status_code
    yield client.get("/api/residents/?family_name=canary").status_code
    yield client.get("/live", headers={"Host": "canary.example.org"}).status_code
    yield client.get("/api/me/", headers={"X-Request-Id": "canary of Rose", "User-Agent": CANARY}).status_code
    yield stranger.get(f"/buildings/{building}/?note=canary").status_code
    yield stranger.get(f"/account/password/reset/key/3-{TOKEN}/").status_code
    yield stranger.post("/account/login/", {"login": "canary@example.org", "password": "canary-1234567"}).status_code
    yield Client(enforce_csrf_checks=True).post("/account/login/", {"login": "canary@example.org"}).status_code
    for sent, kind in (
        ('{"name": "canary', "application/json"),
        ("canary", "text/plain"),
        ({"building": building, "name": "canary" * 40}, "application/json"),
        ({"building": building, "name": here.rows["Unit"].name}, "application/json"),
    ):
        headers = {"Idempotency-Key": "a-key-of-the-test"}
        yield client.post("/api/units/", sent, content_type=kind, headers=headers).status_code
    over = {"building": building, "week": "2026-W01"}
    headers = {"Idempotency-Key": "canary-of-a-key", "User-Agent": CANARY}
    yield client.post("/api/rosters/", over, content_type="application/json", headers=headers).status_code
    yield client.get("/clashing/").status_code
    yield client.get("/quoting/?name=canary").status_code


TROUBLE = [404, 404, 200, 400, 400, 200, 302, 200, 200, 403, 400, 415, 422, 422, 409, 500, 500]


@pytest.mark.urls(__name__)
def test_what_goes_wrong_is_told_without_what_was_sent(here: Furnished) -> None:
    here.rows["Unit"].refresh_from_db()
    with listening(logging.DEBUG) as heard:
        assert list(ask_for_trouble(here)) == TROUBLE

    assert len(heard.told("request")) == len(TROUBLE)
    broken = [line["exceptions"][0]["type"] for line in heard.told("Internal Server Error")]
    assert broken == ["django.db.utils.IntegrityError", "builtins.ValueError"]
    assert found_in(heard.text, CANARY, TOKEN, DETAIL, "Rose") == []


@pytest.mark.urls(__name__)
def test_without_our_lines_what_was_sent_is_told(here: Furnished) -> None:
    """The control: the same requests, written by the format of the standard library."""
    here.rows["Unit"].refresh_from_db()
    with listening(logging.DEBUG, logging.Formatter()) as heard:
        assert list(ask_for_trouble(here)) == TROUBLE

    assert found_in(heard.text, CANARY, DETAIL) == [CANARY, DETAIL]


def test_a_line_that_names_somebody_is_found() -> None:
    """The control: our own code would have to write the name into the event itself."""
    with listening() as heard:
        logging.getLogger("program.try").info("Moved %s", "Rose canary")

    assert found_in(heard.text, CANARY) == [CANARY]


def test_a_task_that_fails_in_a_worker_tells_no_value(two_houses: tuple[Furnished, Furnished]) -> None:
    here, there = two_houses
    call_them_canary(here)
    with queue_of_our_own(), worker(), listening(logging.DEBUG) as heard:
        clash_in_a_task.delay(here.house.building.pk)
        quote_in_a_task.delay(there.house.building.pk)
        wait_for(lambda: len(heard.told("task_failed")) == 2)

    failed = [line["exceptions"][0]["type"] for line in heard.told("task_failed")]
    assert failed == ["django.db.utils.IntegrityError", "builtins.ValueError"]
    assert found_in(heard.text, CANARY, DETAIL) == []


def test_tasks_are_sent_with_ids_alone(two_houses: tuple[Furnished, Furnished]) -> None:
    here, _ = two_houses
    client = client_of(here.house.coordinator)
    with queue_of_our_own():
        answer = client.post(
            "/api/rosters/",
            {"building": here.house.building.pk, "week": "2026-W51"},
            content_type="application/json",
            headers={"Idempotency-Key": "one-roster-1"},
        )
        sent = waiting_tasks()

    assert answer.status_code == 202
    assert "scheduling.tasks.fill_roster" in {headers["task"] for headers, _ in sent}
    assert found_in(f"{sent}", CANARY, place_of(here.mark), *tokens_of(client)) == []


def kept_in_the_cache() -> str:
    with redis.Redis.from_url(settings.REDIS_URL) as server:
        values = ((key, server.get(key)) for key in server.scan_iter("*", _type="string"))
        return "\n".join(f"{key!r} {value!r}" for key, value in values)


def test_the_cache_holds_no_canary_in_keys_or_values(here: Furnished) -> None:
    client = Client()
    for word in (f"{here.mark}-0@example.org", f"{here.mark}-1", "canary@example.org"):
        client.post("/account/login/", {"login": word, "password": "canary-1234567"})
    client_of(here.house.coordinator).get(f"/buildings/{here.house.building.pk}/residents/?search=canary")

    assert found_in(kept_in_the_cache(), CANARY) == []
    try:
        cache.set("tries-of-canary", 1, 60)
        # The control: a key with a word that somebody typed.
        assert found_in(kept_in_the_cache(), CANARY) == [CANARY]
    finally:
        cache.delete("tries-of-canary")
