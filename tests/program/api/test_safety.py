"""Clearances and holds by the API: allowed, refused, and nothing for a stranger."""

from program import clock
from program.models import Clearance, Hold
from tests import factories
from tests.conftest import House
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")
REFUSED = (403, "not-allowed")
YES = {"given_by": "C. Example", "credential": "physician", "given_on": "2026-11-29", "until_on": "2027-05-31"}


def test_one_yes_is_entered_for_a_selection_of_residents(arrowfen: House, stranger) -> None:
    selected = [arrowfen.resident().pk, arrowfen.resident().pk]
    sent = YES | {"residents": selected}

    assert problem_of(Api(stranger).post("clearances/", sent)) == (422, "invalid")
    assert problem_of(Api(arrowfen.aide).post("clearances/", sent)) == REFUSED
    answer = Api(arrowfen.coordinator).post("clearances/", sent)

    assert (answer.status_code, [row["resident"] for row in answer.json()["results"]]) == (201, selected)


def test_a_selection_with_one_resident_of_another_building_enters_nothing(arrowfen: House, brindlewharf: House) -> None:
    selected = [arrowfen.resident().pk, brindlewharf.resident().pk]
    before = Clearance.objects.count()
    answer = Api(arrowfen.coordinator).post("clearances/", YES | {"residents": selected})

    assert answer.json()["errors"] == [{"field": "residents.1", "sentence": "There is nothing here that you may see."}]
    assert Clearance.objects.count() == before


def test_somebody_with_the_right_in_one_building_enters_nothing_in_the_other(
    arrowfen: House, brindlewharf: House
) -> None:
    factories.Role.objects.create(
        user=arrowfen.coordinator, kind="staff", building=brindlewharf.building, since=factories.LONG_AGO
    )
    selected = [arrowfen.resident().pk, brindlewharf.resident().pk]
    before = Clearance.objects.count()

    assert problem_of(Api(arrowfen.coordinator).post("clearances/", YES | {"residents": selected})) == REFUSED
    assert Clearance.objects.count() == before


def test_a_clearance_is_withdrawn(arrowfen: House, stranger) -> None:
    clearance = arrowfen.resident().clearances.get()
    path = f"clearances/{clearance.pk}/withdraw/"

    assert problem_of(Api(stranger).post(path, of=clearance)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, of=clearance)) == REFUSED
    assert Api(arrowfen.clinician).post(path, of=clearance).json()["withdrawn_at"] == "2026-11-30T06:00:00-05:00"


def test_anyone_on_duty_sets_an_absence_and_ends_it(arrowfen: House, stranger) -> None:
    sent = {"resident": arrowfen.resident().pk, "kind": "away", "reason": "leave", "starts_at": clock.now().isoformat()}

    assert problem_of(Api(stranger).post("holds/", sent)) == (422, "invalid")
    assert Api(arrowfen.aide).post("holds/", sent).status_code == 201
    hold = Hold.objects.get()
    path, ends = f"holds/{hold.pk}/end/", {"ends_at": "2026-12-03T09:00:00-05:00"}

    assert problem_of(Api(stranger).post(path, ends, of=hold)) == NOTHING
    assert Api(arrowfen.aide).post(path, ends, of=hold).json()["ends_at"] == "2026-12-03T09:00:00-05:00"


def test_a_clinician_alone_releases_an_exercise_hold(arrowfen: House) -> None:
    sent = {
        "resident": arrowfen.resident().pk,
        "kind": "clinical",
        "reason": "dizzy in the morning",
        "starts_at": "2026-11-30T05:00:00-05:00",
    }
    assert Api(arrowfen.aide).post("holds/", sent).status_code == 201
    hold = Hold.objects.get()
    path = f"holds/{hold.pk}/end/"

    assert problem_of(Api(arrowfen.coordinator).post(path, of=hold)) == REFUSED
    assert Api(arrowfen.clinician).post(path, {"note": "seen"}, of=hold).json()["released_by"] == arrowfen.clinician.pk
