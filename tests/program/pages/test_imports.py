"""Files: blank ones, previews, what is refused by line, and applying once."""

from pathlib import Path

from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from program.models import Audit, Building, Import, Resident, Role
from tests import factories
from tests.program.pages.words import refusal, words

FOLDER = Path(__file__).parents[2] / "data" / "arrowfen"
TABLE = (
    "person_key,given_name,family_name,date_of_birth,unit,help,room\n"
    "{key},Åsa,Quillmoor,1940-05-17,{unit},one-to-one,202\n"
    "N1,Nova,Newling,1941-01-01,{unit},one helps two,7\n"
    "N2,,Nameless,1941-01-01,{unit},one helps two,8\n"
)


def sent(client, house, content, name="residents.csv", kind="residents"):
    upload = SimpleUploadedFile(name, content)
    return client.post(
        reverse("program:imports", args=[house.building.pk]), {"kind": kind, "file": upload}, follow=True
    )


def test_a_preview_shows_new_changed_and_refused_and_nothing_is_written(arrowfen, coordinator, see_all):
    known = arrowfen.resident(room="101", given_name="Åsa", family_name="Quillmoor")
    text = TABLE.format(key=known.key, unit=arrowfen.unit.name)

    shown = sent(coordinator, arrowfen, text.encode())

    assert shown.context["counts"] == {"new": 1, "changed": 1, "unchanged": 0, "refused": 1}
    assert {"help: one helps three one-to-one", "room: 101 202"} == {
        f"{field}: {was} {becomes}" for row in shown.context["rows"] for field, was, becomes in row["changes"]
    }
    assert [(one["lines"], one["where"]) for one in shown.context["refusals"]] == [("line 4", "given_name")]
    see_all()
    assert Resident.objects.count() == 1
    assert Audit.objects.get(action="view").resident_ids == [known.pk]


def test_what_was_looked_at_is_applied_once(arrowfen, coordinator, see_all):
    known = arrowfen.resident()
    shown = sent(coordinator, arrowfen, TABLE.format(key=known.key, unit=arrowfen.unit.name).encode())
    imported = shown.context["imported"]
    address = reverse("program:import", args=[arrowfen.building.pk, imported.pk])

    assert coordinator.post(address, {"version": imported.version}).status_code == 302
    twice = coordinator.post(address, {"version": imported.version})

    see_all()
    assert sorted(Resident.objects.values_list("room", flat=True)) == ["202", "7"]
    assert twice.status_code == 412
    assert Import.objects.get().state == "applied"


def test_a_file_that_cannot_be_read_is_refused_with_a_sentence(arrowfen, coordinator, see_all):
    shown = sent(coordinator, arrowfen, b"\x00\x01\x02", name="residents.xlsx")

    see_all()
    assert (shown.status_code, Import.objects.count()) == (409, 0)
    assert refusal(shown)


def test_a_file_must_be_chosen(arrowfen, coordinator):
    shown = coordinator.post(reverse("program:imports", args=[arrowfen.building.pk]), {"kind": "residents"})

    assert (shown.status_code, refusal(shown)) == (422, "File: Fill this in.")


def test_blank_files_are_there_to_download(arrowfen, coordinator):
    for name, begins in (("residents.csv", b"\xef\xbb\xbfperson_key"), ("residents.xlsx", b"PK")):
        given = coordinator.get(reverse("program:blank", args=[arrowfen.building.pk, name]))
        assert given.content.startswith(begins)
        assert given["Content-Disposition"] == f'attachment; filename="{name}"'
    assert coordinator.get(reverse("program:blank", args=[arrowfen.building.pk, "other.csv"])).status_code == 404


def test_staff_import_nothing(arrowfen, client_of):
    assert client_of(arrowfen.aide).get(reverse("program:imports", args=[arrowfen.building.pk])).status_code == 403


def test_an_import_of_another_house_does_not_exist(arrowfen, brindlewharf, coordinator, client_of):
    text = TABLE.format(key="B1", unit=brindlewharf.unit.name).encode()
    foreign = sent(client_of(brindlewharf.coordinator), brindlewharf, text).context["imported"]

    assert coordinator.get(reverse("program:import", args=[arrowfen.building.pk, foreign.pk])).status_code == 404


def test_an_administrator_starts_a_building_from_its_workbook(db, client_of, see_all):
    administrator = client_of(factories.with_role(None, Role.Kind.ADMINISTRATOR))
    upload = SimpleUploadedFile("building.xlsx", (FOLDER / "building.xlsx").read_bytes())

    shown = administrator.post(reverse("program:start-building"), {"file": upload}, follow=True)
    imported = shown.context["imported"]
    done = administrator.post(reverse("program:start", args=[imported.pk]), {"version": imported.version}, follow=True)

    see_all()
    assert "Arrowfen House has been started." in words(done)
    assert Building.objects.get().name == "Arrowfen House"


def test_nobody_else_starts_a_building(arrowfen, coordinator):
    assert coordinator.get(reverse("program:start-building")).status_code == 403
    assert coordinator.get(reverse("program:start-blank")).status_code == 403
