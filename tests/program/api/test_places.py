"""Buildings and what belongs to them, by the API: allowed, refused, and nothing for a stranger."""

from datetime import timedelta

import pytest
from django.db import connection

from program import clock
from program.models import Closure, Hours, Station, Unit
from tests.conftest import House
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")


def test_a_person_sees_their_buildings_and_kinds_of_role(arrowfen: House, brindlewharf: House) -> None:
    told = Api(arrowfen.clinician).get("me/").json()

    assert told["id"] == arrowfen.clinician.pk
    assert told["is_administrator"] is False
    assert [(row["id"], row["kinds"]) for row in told["buildings"]] == [(arrowfen.building.pk, ["clinician"])]


def test_a_list_holds_the_persons_own_buildings_only(arrowfen: House, stranger) -> None:
    assert [row["id"] for row in Api(arrowfen.aide).get("buildings/").json()["results"]] == [arrowfen.building.pk]
    assert problem_of(Api(stranger).get(f"buildings/{arrowfen.building.pk}/")) == NOTHING


def test_a_coordinator_changes_the_rules_of_a_building(arrowfen: House, stranger) -> None:
    path, sent = f"buildings/{arrowfen.building.pk}/", {"grace_minutes": 20}

    assert problem_of(Api(stranger).patch(path, sent, of=arrowfen.building)) == NOTHING
    assert problem_of(Api(arrowfen.aide).patch(path, sent, of=arrowfen.building)) == (403, "not-allowed")
    answer = Api(arrowfen.coordinator).patch(path, sent, of=arrowfen.building)

    assert (answer.status_code, answer.json()["grace_minutes"]) == (200, 20)
    assert answer.headers["ETag"] == f'"{arrowfen.building.pk}-2"'


def test_a_coordinator_adds_a_unit(arrowfen: House, stranger) -> None:
    sent = {"building": arrowfen.building.pk, "name": "East wing"}

    assert problem_of(Api(stranger).post("units/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.aide).post("units/", sent)) == (403, "not-allowed")
    answer = Api(arrowfen.coordinator).post("units/", sent)

    assert answer.status_code == 201
    assert answer.headers["Location"] == f"/api/units/{answer.json()['id']}/"
    assert [*Unit.objects.filter(name="East wing").values_list("building", flat=True)] == [arrowfen.building.pk]


def test_a_coordinator_takes_a_period_out_of_the_hours(arrowfen: House, stranger) -> None:
    meal = Hours.objects.of(arrowfen.building).filter(kind="meal").first()
    path = f"hours/{meal.pk}/"

    assert problem_of(Api(stranger).delete(path, of=meal)) == NOTHING
    assert problem_of(Api(arrowfen.aide).delete(path, of=meal)) == (403, "not-allowed")
    assert Api(arrowfen.coordinator).delete(path, of=meal).status_code == 204
    assert not Hours.objects.filter(pk=meal.pk).exists()


def test_overlapping_hours_are_refused_with_the_sentence_of_the_rule(arrowfen: House) -> None:
    sent = {"building": arrowfen.building.pk, "kind": "open", "weekday": 0, "starts_minute": 500, "ends_minute": 600}
    answer = Api(arrowfen.coordinator).post("hours/", sent)

    assert problem_of(answer) == (422, "invalid")
    assert answer.json()["detail"] == "That overlaps another period of the same day."


def test_a_coordinator_changes_a_station(arrowfen: House, stranger) -> None:
    station = arrowfen.stations[0]
    path, sent = f"stations/{station.pk}/", {"load_step": "1.25"}

    assert problem_of(Api(stranger).patch(path, sent, of=station)) == NOTHING
    assert problem_of(Api(arrowfen.clinician).patch(path, sent, of=station)) == (403, "not-allowed")
    assert Api(arrowfen.coordinator).patch(path, sent, of=station).json()["load_step"] == "1.250"


def test_a_station_is_added_where_the_circuit_grows(arrowfen: House) -> None:
    sent = {
        "building": arrowfen.building.pk,
        "name": "F",
        "exercise": "heel raise at a rail",
        "position": 6,
        "load_unit": "lb",
        "load_step": "5",
    }
    assert problem_of(Api(arrowfen.aide).post("stations/", sent)) == (403, "not-allowed")
    answer = Api(arrowfen.coordinator).post("stations/", sent)

    assert answer.status_code == 201
    assert Station.objects.get(pk=answer.json()["id"]).load_unit == "lb"


@pytest.mark.parametrize(("who", "status"), [("aide", 201), ("coordinator", 201), ("clinician", 403)])
def test_whoever_stands_at_a_station_may_say_it_is_broken(arrowfen: House, who: str, status: int) -> None:
    sent = {
        "building": arrowfen.building.pk,
        "station": arrowfen.stations[0].pk,
        "reason": "out of order",
        "starts_at": clock.now().isoformat(),
    }
    assert Api(getattr(arrowfen, who)).post("closures/", sent).status_code == status


def test_only_a_coordinator_closes_the_building_and_opens_it_again(arrowfen: House, stranger) -> None:
    sent = {"building": arrowfen.building.pk, "reason": "outbreak", "starts_at": clock.now().isoformat()}

    assert problem_of(Api(arrowfen.aide).post("closures/", sent)) == (403, "not-allowed")
    answer = Api(arrowfen.coordinator).post("closures/", sent)
    assert answer.status_code == 201
    assert answer.json()["starts_at"] == "2026-11-30T06:00:00-05:00"
    closure = Closure.objects.get()
    path, ends = f"closures/{closure.pk}/end/", {"ends_at": (clock.now() + timedelta(days=2)).isoformat()}

    assert problem_of(Api(stranger).post(path, ends, of=closure)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, ends, of=closure)) == (403, "not-allowed")
    assert Api(arrowfen.coordinator).post(path, ends, of=closure).json()["ends_at"] == "2026-12-02T06:00:00-05:00"


def test_a_unit_of_another_building_cannot_be_closed_from_here(arrowfen: House, brindlewharf: House) -> None:
    sent = {
        "building": arrowfen.building.pk,
        "unit": brindlewharf.unit.pk,
        "reason": "outbreak",
        "starts_at": clock.now().isoformat(),
    }
    answer = Api(arrowfen.coordinator).post("closures/", sent)

    assert problem_of(answer) == (422, "invalid")
    assert answer.json()["errors"] == [{"field": "unit", "sentence": "There is nothing here that you may see."}]
    assert connection.in_atomic_block
