"""Files from outside and the trail, by the API."""

from django.core.files.uploadedfile import SimpleUploadedFile

from program.models import Audit, Commitment, Import
from tests import factories
from tests.conftest import House
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")
REFUSED = (403, "not-allowed")
CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//invented//EN
BEGIN:VEVENT
UID:bath-1@example.org
DTSTAMP:20261101T000000Z
DTSTART;TZID=America/New_York:20261201T090000
DTEND;TZID=America/New_York:20261201T093000
SUMMARY:Bath
CATEGORIES:BATHING
END:VEVENT
END:VCALENDAR
""".replace("\n", "\r\n")


def send(api: Api, key: str = "", **sent: object):
    file = SimpleUploadedFile("calendar.ics", CALENDAR.encode(), content_type="text/calendar")
    headers = {"Idempotency-Key": key or f"key-{Import.objects.count()}-of-a-test"}
    return api._seen(api.client.post("/api/imports/", {"kind": "calendars", "file": file} | sent, headers=headers))


def test_a_file_is_judged_shown_and_applied(arrowfen: House, stranger) -> None:
    rose = arrowfen.resident()
    sent = {"building": arrowfen.building.pk, "person_key": rose.key}

    assert problem_of(send(Api(stranger), **sent)) == (422, "invalid")
    assert problem_of(send(Api(arrowfen.aide), **sent)) == REFUSED
    answer = send(Api(arrowfen.coordinator), **sent)
    assert (answer.status_code, answer.json()["state"], answer.json()["refusals"]) == (201, "judged", [])
    assert answer.json()["counts"] == {"new": 1, "changed": 0, "unchanged": 0, "refused": 0}
    assert not Commitment.objects.exists()
    imported = Import.objects.get()

    assert problem_of(Api(stranger).get(f"imports/{imported.pk}/")) == NOTHING
    assert problem_of(Api(arrowfen.aide).get(f"imports/{imported.pk}/")) == REFUSED
    path = f"imports/{imported.pk}/apply/"
    assert problem_of(Api(stranger).post(path, of=imported)) == NOTHING
    assert problem_of(Api(arrowfen.aide).post(path, of=imported)) == REFUSED
    assert Api(arrowfen.coordinator).post(path, of=imported).json()["state"] == "applied"
    assert [*Commitment.objects.values_list("resident", "uid")] == [(rose.pk, "bath-1@example.org")]

    again = send(Api(arrowfen.coordinator), key="another-key", **sent).json()
    assert again["counts"] == {"new": 0, "changed": 0, "unchanged": 1, "refused": 0}


def test_a_look_at_what_a_file_says_of_residents_is_on_record(arrowfen: House) -> None:
    rose = arrowfen.resident()
    send(Api(arrowfen.coordinator), building=arrowfen.building.pk, person_key=rose.key)

    looks = Audit.objects.filter(action="view").values_list("noun", "resident_ids")
    assert [*looks] == [("import", [rose.pk])]


def test_a_workbook_of_a_new_building_is_taken_from_an_administrator_alone(arrowfen: House) -> None:
    administrator = factories.with_role(None, "administrator")

    assert problem_of(send(Api(arrowfen.coordinator), kind="building")) == REFUSED
    assert problem_of(send(Api(administrator), kind="building")) == (409, "unreadable-file")


def test_a_file_that_is_too_large_is_refused_before_it_is_read(arrowfen: House) -> None:
    big = SimpleUploadedFile("big.ics", b"x" * (3 * 1024 * 1024 + 1))

    assert problem_of(send(Api(arrowfen.coordinator), building=arrowfen.building.pk, file=big)) == (413, "too-large")


def test_the_trail_is_for_those_who_answer_for_it(arrowfen: House, stranger) -> None:
    rose = arrowfen.resident()
    Api(arrowfen.aide).get(f"residents/{rose.pk}/")

    assert problem_of(Api(arrowfen.aide).get("audit/")) == REFUSED
    assert problem_of(Api(stranger).get("audit/", resident=rose.pk)) == (400, "invalid-filter")
    told = Api(arrowfen.clinician).get("audit/", resident=rose.pk, noun="resident").json()["results"]
    assert [(line["action"], line["user"]) for line in told] == [("view", arrowfen.aide.pk), ("insert", None)]
    assert [line["happened_at"] for line in told][:1] == ["2026-11-30T11:00:00+00:00"]


def test_the_trail_of_another_building_is_not_there(arrowfen: House, brindlewharf: House) -> None:
    brindlewharf.resident()
    told = Api(arrowfen.coordinator).get("audit/", limit=200).json()["results"]

    assert {line["building"] for line in told} == {arrowfen.building.pk}


def test_a_look_into_the_trail_is_on_record_too(arrowfen: House) -> None:
    rose = arrowfen.resident()
    Api(arrowfen.coordinator).get("audit/", resident=rose.pk, noun="resident")

    assert [*Audit.objects.filter(action="view").values_list("noun", "resident_ids")] == [("trail", [rose.pk])]


def test_somebody_who_coordinates_elsewhere_sees_no_trail_where_they_are_staff(
    arrowfen: House, brindlewharf: House
) -> None:
    factories.Role.objects.create(
        user=arrowfen.coordinator, kind="staff", building=brindlewharf.building, since=factories.LONG_AGO
    )
    told = Api(arrowfen.coordinator).get("audit/", building=brindlewharf.building.pk).json()["results"]

    assert told == []
