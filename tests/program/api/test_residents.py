"""Residents by the API: allowed, refused, and nothing for a stranger."""

import pytest

from program import clock
from program.models import Audit, Resident
from tests.conftest import House
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")
REFUSED = (403, "not-allowed")


def enrolment(house: House, **more: object) -> dict[str, object]:
    return {
        "building": house.building.pk,
        "unit": house.unit.pk,
        "key": "K-77",
        "given_name": "Wilhelmina",
        "family_name": "Testperson",
        "date_of_birth": "1938-02-03",
        "help_sixths": 3,
        "agreed_on": "2026-11-20",
        "agreed_by": "herself",
    } | more


def test_a_coordinator_enrols_a_resident(arrowfen: House, stranger) -> None:
    sent = enrolment(arrowfen)

    assert problem_of(Api(stranger).post("residents/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.aide).post("residents/", sent)) == REFUSED
    answer = Api(arrowfen.coordinator).post("residents/", sent)

    assert answer.status_code == 201
    resident = Resident.objects.get()
    assert answer.headers["Location"] == f"/api/residents/{resident.pk}/"
    assert answer.headers["ETag"] == f'"{resident.pk}-1"'
    assert (resident.name, resident.help_sixths, resident.building) == ("Wilhelmina Testperson", 3, arrowfen.building)


def test_a_resident_cannot_be_enrolled_into_a_unit_of_another_building(arrowfen: House, brindlewharf: House) -> None:
    answer = Api(arrowfen.coordinator).post("residents/", enrolment(arrowfen, unit=brindlewharf.unit.pk))

    assert problem_of(answer) == (422, "invalid")
    assert not Resident.objects.exists()


def test_a_coordinator_changes_a_resident(arrowfen: House, stranger) -> None:
    rose = arrowfen.resident()
    path, sent = f"residents/{rose.pk}/", {"room": "12", "helper_notes": ["Hears better on the left"]}

    assert problem_of(Api(stranger).patch(path, sent, of=rose)) == NOTHING
    assert problem_of(Api(arrowfen.clinician).patch(path, sent, of=rose)) == REFUSED
    told = Api(arrowfen.coordinator).patch(path, sent, of=rose).json()

    assert (told["room"], told["helper_notes"], told["version"]) == ("12", ["Hears better on the left"], 2)


def test_a_clinician_alone_sets_a_longer_recovery(arrowfen: House, stranger) -> None:
    rose = arrowfen.resident()
    path = f"residents/{rose.pk}/recovery/"

    assert problem_of(Api(stranger).post(path, {"hours": 72}, of=rose)) == NOTHING
    assert problem_of(Api(arrowfen.coordinator).post(path, {"hours": 72}, of=rose)) == REFUSED
    assert problem_of(Api(arrowfen.clinician).post(path, {"hours": 47}, of=rose)) == (422, "invalid")
    assert Api(arrowfen.clinician).post(path, {"hours": 72}, of=rose).json()["recovery_hours"] == "72.00"


def test_an_agreement_is_withdrawn_and_given_again(arrowfen: House, stranger) -> None:
    rose = arrowfen.resident()
    path = f"residents/{rose.pk}/withdraw-agreement/"

    assert problem_of(Api(stranger).post(path, of=rose)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, of=rose)) == REFUSED
    assert Api(arrowfen.coordinator).post(path, of=rose).json()["agreement_withdrawn_at"] == "2026-11-30T06:00:00-05:00"
    rose.refresh_from_db()
    sent = {"agreed_on": "2026-11-30", "agreed_by": "her daughter"}
    told = Api(arrowfen.coordinator).post(f"residents/{rose.pk}/agree/", sent, of=rose).json()
    assert (told["agreement_withdrawn_at"], told["agreed_by"]) == (None, "her daughter")


def test_a_coordinator_ends_a_stay(arrowfen: House, stranger) -> None:
    rose = arrowfen.resident()
    path, sent = f"residents/{rose.pk}/end-stay/", {"until": "2026-12-04T10:00:00-05:00"}

    assert problem_of(Api(stranger).post(path, sent, of=rose)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, sent, of=rose)) == REFUSED
    assert Api(arrowfen.coordinator).post(path, sent, of=rose).json()["until"] == "2026-12-04T10:00:00-05:00"


def test_a_new_stay_carries_the_person_of_an_earlier_one(arrowfen: House) -> None:
    rose = arrowfen.resident(until=clock.now())
    answer = Api(arrowfen.coordinator).post("residents/", enrolment(arrowfen, stayed_as=rose.pk))

    assert answer.status_code == 201
    assert Resident.objects.get(key="K-77").person_id == rose.person_id


def test_an_earlier_stay_in_another_building_is_not_there(arrowfen: House, brindlewharf: House) -> None:
    foreign = brindlewharf.resident(until=clock.now())
    answer = Api(arrowfen.coordinator).post("residents/", enrolment(arrowfen, stayed_as=foreign.pk))

    assert answer.json()["errors"] == [{"field": "stayed_as", "sentence": "There is nothing here that you may see."}]


@pytest.mark.parametrize("path", ["residents/", "residents/{pk}/"])
def test_a_look_at_residents_is_on_record(arrowfen: House, path: str) -> None:
    rose = arrowfen.resident()
    Api(arrowfen.aide).get(path.format(pk=rose.pk))

    looks = Audit.objects.filter(action="view").values_list("user_id", "noun", "resident_ids")
    assert [*looks] == [(arrowfen.aide.pk, "resident", [rose.pk])]


def test_a_look_that_was_refused_is_not_on_record(arrowfen: House, stranger) -> None:
    rose = arrowfen.resident()
    Api(stranger).get(f"residents/{rose.pk}/")

    assert not Audit.objects.filter(action="view").exists()
