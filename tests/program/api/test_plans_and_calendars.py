"""Exercise plans, commitments, shifts and pairs by the API: allowed, refused, and nothing for a stranger."""

import pytest

from program.models import Commitment, CommitmentTime, Pairing, Prescription, Shift, ShiftTime
from tests.conftest import House
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")
REFUSED = (403, "not-allowed")


def plan(house: House, resident, *, expected_number: int = 1, **line: object) -> dict[str, object]:
    first = {"station": house.stations[0].pk, "load": "22.5", "load_unit": "kg"} | line
    return {"resident": resident.pk, "expected_number": expected_number, "sessions_a_week": 2, "lines": [first]}


def test_a_clinician_alone_changes_an_exercise_plan(arrowfen: House, stranger) -> None:
    sent = plan(arrowfen, arrowfen.resident())

    assert problem_of(Api(stranger).post("prescriptions/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.coordinator).post("prescriptions/", sent)) == REFUSED
    answer = Api(arrowfen.clinician).post("prescriptions/", sent)

    assert (answer.status_code, answer.json()["number"]) == (201, 2)
    assert [(line["load"], line["load_kg"]) for line in answer.json()["lines"]] == [("22.500", "22.50000000000")]


def test_an_exercise_plan_changed_meanwhile_is_not_overwritten(arrowfen: House) -> None:
    rose = arrowfen.resident()
    Api(arrowfen.clinician).post("prescriptions/", plan(arrowfen, rose))
    answer = Api(arrowfen.clinician).post("prescriptions/", plan(arrowfen, rose))

    assert problem_of(answer) == (412, "stale-version")
    assert answer.json()["current_version"] == 2


@pytest.mark.parametrize("line", [{"load": "22.4"}, {"load_unit": "lb"}, {"turns": 6}, {"colour": "red"}])
def test_a_plan_that_the_station_cannot_do_is_refused(arrowfen: House, line: dict[str, object]) -> None:
    answer = Api(arrowfen.clinician).post("prescriptions/", plan(arrowfen, arrowfen.resident(), **line))

    assert problem_of(answer) == (422, "invalid")
    assert Prescription.objects.count() == 1


def test_a_station_of_another_building_cannot_stand_in_a_plan(arrowfen: House, brindlewharf: House) -> None:
    sent = plan(arrowfen, arrowfen.resident(), station=brindlewharf.stations[0].pk)
    answer = Api(arrowfen.clinician).post("prescriptions/", sent)

    assert answer.json()["errors"] == [
        {"field": "lines.0.station", "sentence": "There is nothing here that you may see."}
    ]


def test_only_the_newest_versions_are_in_force(arrowfen: House) -> None:
    rose = arrowfen.resident()
    Api(arrowfen.clinician).post("prescriptions/", plan(arrowfen, rose))

    def numbers(**asked: object) -> list[int]:
        return [row["number"] for row in Api(arrowfen.aide).get("prescriptions/", **asked).json()["results"]]

    assert numbers(resident=rose.pk) == [2, 1]
    assert numbers(resident=rose.pk, in_force="true") == [2]


def test_a_commitment_is_added_changed_and_ended(arrowfen: House, stranger) -> None:
    sent = {
        "resident": arrowfen.resident().pk,
        "kind": "bathing",
        "starts": "2026-12-01T09:00",
        "timezone": "America/New_York",
        "minutes": 30,
        "rrule": "FREQ=WEEKLY;COUNT=3",
    }
    assert problem_of(Api(stranger).post("commitments/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.aide).post("commitments/", sent)) == REFUSED
    assert Api(arrowfen.coordinator).post("commitments/", sent).status_code == 201
    bath = Commitment.objects.get()
    times = Api(arrowfen.aide).get("commitment-times/", commitment=bath.pk, until="2026-12-08T00:00:00-05:00")
    assert [row["starts_at"] for row in times.json()["results"]] == ["2026-12-01T09:00:00-05:00"]
    path, change = f"commitments/{bath.pk}/", {"minutes": 45}

    assert problem_of(Api(stranger).patch(path, change, of=bath)) == NOTHING
    assert problem_of(Api(arrowfen.aide).patch(path, change, of=bath)) == REFUSED
    assert Api(arrowfen.clinician).patch(path, change, of=bath).json()["minutes"] == 45
    bath.refresh_from_db()

    assert problem_of(Api(stranger).post(f"{path}end/", of=bath)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(f"{path}end/", of=bath)) == REFUSED
    assert Api(arrowfen.coordinator).post(f"{path}end/", of=bath).status_code == 200
    assert not CommitmentTime.objects.exists()


def test_a_shift_begins_changes_and_ends(arrowfen: House, stranger) -> None:
    sent = {
        "building": arrowfen.building.pk,
        "user": arrowfen.aide.pk,
        "first_on": "2026-11-30",
        "starts_minute": 480,
        "ends_minute": 720,
    }
    assert problem_of(Api(stranger).post("shifts/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.aide).post("shifts/", sent)) == REFUSED
    assert Api(arrowfen.coordinator).post("shifts/", sent).status_code == 201
    shift = Shift.objects.get()
    change = {"from_on": "2026-12-07", "starts_minute": 540, "ends_minute": 720}
    path = f"shifts/{shift.pk}/change/"

    assert problem_of(Api(stranger).post(path, change, of=shift)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, change, of=shift)) == REFUSED
    later = Api(arrowfen.coordinator).post(path, change, of=shift).json()
    assert (later["first_on"], later["starts_minute"]) == ("2026-12-07", 540)
    shift = Shift.objects.get(pk=later["id"])
    path, ends = f"shifts/{shift.pk}/end/", {"last_on": "2026-12-07"}

    assert problem_of(Api(stranger).post(path, ends, of=shift)) == NOTHING
    assert problem_of(Api(arrowfen.clinician).post(path, ends, of=shift)) == REFUSED
    assert Api(arrowfen.coordinator).post(path, ends, of=shift).json()["last_on"] == "2026-12-07"
    assert ShiftTime.objects.count() == 2


def test_somebody_who_works_elsewhere_cannot_be_given_a_shift(arrowfen: House, stranger) -> None:
    sent = {
        "building": arrowfen.building.pk,
        "user": stranger.pk,
        "first_on": "2026-11-30",
        "starts_minute": 480,
        "ends_minute": 720,
    }
    answer = Api(arrowfen.coordinator).post("shifts/", sent)

    assert answer.json()["errors"] == [{"field": "user", "sentence": "There is nothing here that you may see."}]


def test_the_people_of_a_building_are_those_with_a_role_in_it(arrowfen: House, brindlewharf: House) -> None:
    told = Api(arrowfen.aide).get("people/").json()["results"]

    assert [row["id"] for row in told] == [arrowfen.clinician.pk, arrowfen.aide.pk, arrowfen.coordinator.pk]
    assert {*told[0]} == {"id", "name"}


def test_two_residents_are_kept_apart_and_no_longer(arrowfen: House, stranger) -> None:
    first, second = arrowfen.resident(), arrowfen.resident()
    sent = {"building": arrowfen.building.pk, "kind": "apart", "first": first.pk, "second": second.pk}

    assert problem_of(Api(stranger).post("pairings/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.aide).post("pairings/", sent)) == REFUSED
    assert Api(arrowfen.coordinator).post("pairings/", sent).status_code == 201
    again = sent | {"first": second.pk, "second": first.pk}
    assert problem_of(Api(arrowfen.coordinator).post("pairings/", again)) == (422, "invalid")
    pairing = Pairing.objects.get()
    path = f"pairings/{pairing.pk}/"

    assert problem_of(Api(stranger).delete(path, of=pairing)) == NOTHING
    assert problem_of(Api(arrowfen.aide).delete(path, of=pairing)) == REFUSED
    assert Api(arrowfen.coordinator).delete(path, of=pairing).status_code == 204
    assert not Pairing.objects.exists()
