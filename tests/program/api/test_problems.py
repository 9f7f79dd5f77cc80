"""How the API says no. The measure: RFC 9457, 3.1 and 3.2."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from program.models import Station, Unit
from program.web.problem_types import PROBLEM_TYPES
from program.web.problems import flattened
from tests.conftest import House
from tests.program.api.asking import Api, problem_of

ROOT = Path(__file__).resolve().parents[3]


def named_in(source: str) -> Iterator[str]:
    """Every type of refusal that a module names: by keyword, as the first word of a Problem, in a table of types."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            words = [keyword.value for keyword in node.keywords if keyword.arg in {"problem", "clash"}]
            if (isinstance(node.func, ast.Name) and node.func.id == "Problem") or (
                isinstance(node.func, ast.Attribute) and node.func.attr == "Problem"
            ):
                words += node.args[:1]
            yield from (word.value for word in words if isinstance(word, ast.Constant) and isinstance(word.value, str))
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "CLASH_TYPES":
            yield from (value.value for value in node.value.values)


def test_every_type_of_refusal_in_the_code_is_explained() -> None:
    named = {
        problem
        for package in ("program", "scheduling", "reports")
        for path in (ROOT / package).rglob("*.py")
        for problem in named_in(path.read_text())
    }

    assert named - {*PROBLEM_TYPES} == set()
    assert len(named) > 20


def test_a_refusal_has_the_members_of_a_problem(arrowfen: House) -> None:
    answer = Api(arrowfen.aide).get("stations/1234567/")

    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json() == {
        "type": "/problems/not-found",
        "title": PROBLEM_TYPES["not-found"],
        "status": 404,
        "detail": "There is nothing here that you may see.",
        "request_id": answer.headers["X-Request-Id"],
    }


def test_missing_and_foreign_are_answered_alike(arrowfen: House, brindlewharf: House) -> None:
    api = Api(arrowfen.coordinator)
    foreign, missing = brindlewharf.stations[0].pk, brindlewharf.stations[-1].pk + 1_000_000
    answers = [api.get(f"stations/{pk}/").json() | {"request_id": ""} for pk in (foreign, missing)]
    assert answers[0] == answers[1]

    answers = [
        api.get("stations/", building=pk).json() | {"request_id": ""} for pk in (brindlewharf.building.pk, missing)
    ]
    assert answers[0] == answers[1]


@pytest.mark.parametrize("problem", PROBLEM_TYPES)
def test_the_type_leads_to_its_explanation(db: None, problem: str) -> None:
    answer = Api(None).client.get(f"/problems/{problem}")

    assert answer.status_code == 200
    assert PROBLEM_TYPES[problem] in answer.content.decode().replace("&#x27;", "'")


def test_an_unknown_type_has_no_explanation(db: None) -> None:
    assert Api(None).client.get("/problems/no-such-thing").status_code == 404


def test_a_body_that_is_no_json_is_refused(arrowfen: House) -> None:
    answer = Api(arrowfen.coordinator).post("units/", "{", content_type="application/json")

    assert problem_of(answer) == (400, "unreadable")


def test_a_form_is_refused_where_json_is_meant(arrowfen: House) -> None:
    answer = Api(arrowfen.coordinator).post("units/", "name=x", content_type="application/x-www-form-urlencoded")

    assert problem_of(answer) == (415, "unsupported-media-type")


def test_an_answer_in_another_form_is_refused(arrowfen: House) -> None:
    answer = Api(arrowfen.aide).client.get("/api/units/", headers={"Accept": "text/html"})

    assert problem_of(answer) == (406, "not-acceptable")


def test_a_verb_that_a_noun_does_not_have_is_refused(arrowfen: House) -> None:
    answer = Api(arrowfen.coordinator).delete(f"stations/{arrowfen.stations[0].pk}/")

    assert problem_of(answer) == (405, "method-not-allowed")
    assert answer.headers["Allow"] == "GET, HEAD, PATCH"


def test_an_unknown_member_of_a_body_is_refused_and_not_ignored(arrowfen: House) -> None:
    sent = {"building": arrowfen.building.pk, "name": "East wing", "colour": "red"}
    answer = Api(arrowfen.coordinator).post("units/", sent)

    assert problem_of(answer) == (422, "invalid")
    assert answer.json()["errors"] == [{"field": "colour", "sentence": "“colour” is not known here."}]
    assert not Unit.objects.filter(name="East wing").exists()


@pytest.mark.parametrize(
    ("starts_at", "sentence"),
    [
        ("2026-12-02T10:30:00", "A time needs its offset from UTC. Write it like 2026-12-02T10:30:00-05:00."),
        ("tomorrow", "That is not a time. Write it like 2026-12-02T10:30:00-05:00."),
        ("0001-01-01T00:00:00+14:00", "That time is out of range."),
        ("2300-01-01T00:00:00Z", "A time lies between 1900 and 2200."),
        (5, "A time is text like 2026-12-02T10:30:00-05:00."),
    ],
)
def test_a_time_without_its_offset_is_refused(arrowfen: House, starts_at: object, sentence: str) -> None:
    sent = {"building": arrowfen.building.pk, "reason": "holiday", "starts_at": starts_at}
    answer = Api(arrowfen.coordinator).post("closures/", sent)

    assert answer.json()["errors"] == [{"field": "starts_at", "sentence": sentence}]


@pytest.mark.parametrize("named", [True, -1, "x", 1.5, None, [], {}, 10**30, "١"])
def test_a_reference_that_is_no_number_is_refused(arrowfen: House, named: object) -> None:
    answer = Api(arrowfen.coordinator).post("units/", {"building": named, "name": "East wing"})

    assert problem_of(answer) == (422, "invalid")
    assert [error["field"] for error in answer.json()["errors"]] == ["building"]


def test_an_empty_change_is_refused(arrowfen: House) -> None:
    answer = Api(arrowfen.coordinator).patch(f"stations/{arrowfen.stations[0].pk}/", {}, of=arrowfen.stations[0])

    assert problem_of(answer) == (422, "invalid")


def test_what_the_database_refuses_is_told_by_its_sentence_alone(arrowfen: House) -> None:
    sent = {"building": arrowfen.building.pk, "name": arrowfen.unit.name.upper()}
    answer = Api(arrowfen.coordinator).post("units/", sent)

    assert answer.json()["detail"] == "There is a unit of that name."


def test_a_refused_request_leaves_nothing_behind(arrowfen: House) -> None:
    station = arrowfen.stations[0]
    sent = {"lightest": "9", "heaviest": "1"}
    answer = Api(arrowfen.coordinator).patch(f"stations/{station.pk}/", sent, of=station)

    assert problem_of(answer) == (422, "invalid")
    assert Station.objects.get(pk=station.pk).version == 1


def test_errors_inside_lists_are_named_by_their_place() -> None:
    errors = {"lines": [{}, {"load": ["Too much."]}], "non_field_errors": ["All wrong."]}

    assert [*flattened(errors)] == [
        {"field": "lines.1.load", "sentence": "Too much."},
        {"field": None, "sentence": "All wrong."},
    ]
