"""A line says what happened, for which request and person by id, and nothing that anybody entered."""

import json
import logging
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg
import pytest
import structlog
from django.core.exceptions import ImproperlyConfigured
from django.db import DataError, IntegrityError, transaction
from django.test import Client

from program.config import demo, web_server
from program.config.logging import json_lines, told
from program.models import Audit, scope
from program.tasks import settle_closed_days
from scheduling.models import Roster
from tests import factories
from tests.conftest import MONDAY, House, build_house
from tests.listening import Lines, listening, queue_of_our_own, wait_for, waiting_tasks, worker
from tests.program.api.asking import Api

ASKED = "a-request-of-the-test-1"
FILL = "scheduling.tasks.fill_roster"
DOCKERFILE = (Path(__file__).parents[2] / "program" / "config" / "Dockerfile").read_text()


def line_of(name: str, message: str, *args: object, error: Exception | None = None, **extra: object) -> dict[str, Any]:
    """The line of such a record of a library, without its time."""
    record = logging.LogRecord(name, logging.ERROR, "", 1, message, args, (type(error), error, None) if error else None)
    record.__dict__.update(extra)
    line = json.loads(json_lines().format(record))
    assert datetime.fromisoformat(line.pop("at")).tzinfo == UTC
    return line


def test_a_line_of_a_library_is_one_json_line_with_time_level_logger_and_event() -> None:
    assert line_of("some.library", "two\nlines of %s", "it") == {
        "level": "error",
        "logger": "some.library",
        "event": "two\nlines of it",
    }


def test_what_a_line_is_given_beyond_the_known_keys_is_left_out() -> None:
    with listening() as heard:
        structlog.get_logger("program.try").info("moved", status=200, request="GET /?search=Rose", name="Rose")

    (line,) = heard.told("moved")
    del line["at"]
    assert line == {"level": "info", "logger": "program.try", "event": "moved", "status": 200}


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("Error handling request /residents/?search=Rose&page=2", "Error handling request /residents/?…"),
        ("at /welcome/MQ-c9x-4f2 again", "at /welcome/… again"),
        ("/account/password/reset/key/3-set-password/", "/account/password/reset/key/…/"),
        ("mail to rose.example@example.org refused", "mail to … refused"),
        ("Listening at: http://127.0.0.1:8000 (7)", "Listening at: http://127.0.0.1:8000 (7)"),
        ("Is it ready?", "Is it ready?"),
    ],
)
def test_words_of_a_search_one_time_links_and_addresses_are_hidden(written: str, kept: str) -> None:
    assert line_of("gunicorn.error", written)["event"] == kept


def test_a_line_of_the_framework_keeps_its_template_and_loses_what_was_sent() -> None:
    path = ("Not Found", "/buildings/Rose/")

    assert line_of("django.request", "%s: %s", *path, status_code=404, request=None)["event"] == "Not Found"
    assert line_of("django.security.csrf", "%s: %s", *path, status_code=403, request=None)["event"] == "Forbidden"
    assert line_of("django.core", "No such %s", "Rose")["event"] == "No such %s"
    assert line_of("some.library", "It raised %r", "Rose", error=KeyError("Rose"))["event"] == "It raised %r"


def raised(error: Exception, cause: Exception | None = None) -> Exception:
    try:
        raise error from cause
    except type(error) as caught:
        return caught


def test_an_error_says_where_and_what_kind_and_its_words_only_where_they_quote_nobody() -> None:
    clash = 'duplicate key value violates unique constraint "one_key"'
    detail = f"{clash}\nDETAIL:  Key (key)=(Rose) already exists."
    error = raised(IntegrityError(detail), raised(psycopg.errors.UniqueViolation(detail)))
    place = f"{__file__}:{raised.__code__.co_firstlineno + 2} raised"

    assert line_of("django.request", "broken", error=error)["exceptions"] == [
        {"type": "django.db.utils.IntegrityError", "message": clash, "frames": [place]},
        {"type": "psycopg.errors.UniqueViolation", "message": clash, "sqlstate": "23505", "frames": [place]},
    ]
    for quoting in (ValueError("Rose"), KeyError("Rose"), DataError('invalid input: "Rose"'), RuntimeError("Rose")):
        assert set(told(raised(quoting))) == {"type", "frames"}
    assert told(ImproperlyConfigured("Set REDIS_URL."))["message"] == "Set REDIS_URL."


def test_a_task_that_fails_with_an_error_being_handled_says_so() -> None:
    with listening() as heard:
        try:
            raise KeyError("Rose")
        except KeyError as error:
            structlog.get_logger("program.try").exception("task_failed", error=str(error), exception=error)

    assert [one["type"] for one in heard.told("task_failed")[0]["exceptions"]] == ["builtins.KeyError"]
    assert "Rose" not in heard.text


@pytest.mark.django_db
def test_a_request_is_one_line_with_its_id_its_person_and_its_kind_of_address(arrowfen: House) -> None:
    client = Client()
    client.force_login(arrowfen.aide)
    with listening() as heard:
        client.get(f"/buildings/{arrowfen.building.pk}/residents/", {"search": "Rose"}, headers={"X-Request-Id": ASKED})

    (line,) = map(json.loads, heard.written)
    assert (line.pop("at")[-1], type(line.pop("milliseconds"))) == ("Z", int)
    assert line == {
        "level": "info",
        "logger": "program.web.request_lines",
        "event": "request",
        "request_id": ASKED,
        "user_id": arrowfen.aide.pk,
        "method": "GET",
        "route": "buildings/<int:building_id>/residents/",
        "status": 200,
    }


@pytest.mark.django_db
def test_nothing_of_a_request_stays_for_the_next_on_its_thread(arrowfen: House) -> None:
    client = Client()
    client.force_login(arrowfen.aide)
    client.get("/api/me/")

    assert structlog.contextvars.get_contextvars() == {}


@pytest.mark.django_db
def test_probes_that_are_well_write_no_line() -> None:
    with listening() as heard:
        answers = [Client().get(path).status_code for path in ("/live", "/ready")]

    assert (answers, heard.written) == ([200, 200], [])


@pytest.mark.django_db
def test_without_the_queue_the_process_is_alive_and_not_ready_and_says_so(settings: Any) -> None:
    backend = settings.CACHES["default"]["BACKEND"]
    # Port 9 is discard, on which nothing listens here.
    settings.CACHES = {"default": {"BACKEND": backend, "LOCATION": "redis://127.0.0.1:9/0"}}
    with listening() as heard:
        live, ready = Client().get("/live"), Client().get("/ready")

    assert (live.status_code, ready.status_code) == (200, 503)
    assert ready.json() == {"database": True, "queue": False}
    assert [(line["status"], line["level"]) for line in heard.told("request")] == [(503, "error")]


def test_the_web_server_writes_no_lines_of_access_and_its_errors_as_ours(tmp_path: Path) -> None:
    assert web_server.accesslog is None
    assert web_server.logconfig_dict["loggers"]["gunicorn.error"] == {
        "handlers": [],
        "level": "INFO",
        "propagate": True,
    }
    web = demo.commands(demo.Demo(tmp_path), 8000)["web"]
    assert web[web.index("--config") + 1] == "python:program.config.web_server"
    assert '"--config", "python:program.config.web_server"' in DOCKERFILE
    assert "access-logfile" not in f"{web} {DOCKERFILE}"


@pytest.fixture
def staffed(transactional_db: None) -> House:
    """A house in committed rows with somebody on the circuit, for a worker with a connection of its own."""
    with transaction.atomic():
        house = build_house()
        house.resident()
        for day in range(1, 5):
            factories.on_the_circuit(house.building, house.aide, MONDAY.date().replace(month=12, day=day), 480, 1020)
    return house


def ask_for_a_roster(house: House) -> int:
    api = Api(house.coordinator)
    answer = api.client.post(
        "/api/rosters/",
        {"building": house.building.pk, "week": "2026-W49", "seconds": 1},
        content_type="application/json",
        headers={"Idempotency-Key": "one-roster-1", "X-Request-Id": ASKED},
    )
    assert answer.status_code == 202
    return answer.json()["id"]


def test_a_task_carries_the_request_that_caused_it_and_ids_alone(staffed: House) -> None:
    with queue_of_our_own():
        roster_id = ask_for_a_roster(staffed)
        ((headers, body),) = [sent for sent in waiting_tasks() if sent[0]["task"] == FILL]

    assert headers["__django_structlog__"] == {
        "request_id": ASKED,
        "user_id": staffed.coordinator.pk,
        "route": "api/rosters/",
    }
    assert body[:2] == [[roster_id, staffed.building.pk], {}]


def test_the_request_stands_in_the_lines_of_the_worker_and_in_the_trail_of_what_it_wrote(staffed: House) -> None:
    with queue_of_our_own(), worker(), listening() as heard:
        roster_id = ask_for_a_roster(staffed)
        lines = wait_for(lambda: lines_of_the_task(heard, "task_succeeded"))

    told_of = (ASKED, staffed.coordinator.pk, FILL)
    assert {line["event"]: (line["request_id"], line["user_id"], line["task"]) for line in lines} == {
        "task_started": told_of,
        "task_succeeded": told_of,
    }
    with scope([staffed.building.pk], user_id=staffed.coordinator.pk):
        assert Roster.objects.get(pk=roster_id).state == Roster.State.DRAFT
        written = Audit.objects.filter(noun="roster", row_id=str(roster_id)).values_list("action", "request_id")
        assert set(written) == {("insert", ASKED), ("update", ASKED)}


def lines_of_the_task(heard: Lines, last: str) -> list[dict[str, Any]]:
    """All of them once the last is there; none before."""
    (sent,) = [line for line in heard.told("task_enqueued") if line["child_task"] == FILL]
    assert sent["request_id"] == ASKED
    lines = [line for line in map(json.loads, [*heard.written]) if line.get("task_id") == sent["child_task_id"]]
    return lines if lines and lines[-1]["event"] == last else []


def test_a_task_that_the_clock_asks_for_carries_no_request_of_anybody(staffed: House) -> None:
    with queue_of_our_own(), worker(), listening() as heard:
        settle_closed_days.delay()
        (line,) = wait_for(lambda: heard.told("task_succeeded"))

    assert (line["task"], line.get("request_id"), line.get("user_id")) == (settle_closed_days.name, None, None)
