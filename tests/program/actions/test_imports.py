import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from program.actions.imports import apply_import, judge_file
from program.actions.residents import change_resident, withdraw_agreement
from program.actions.safety import withdraw_clearance
from program.models import (
    Audit,
    Building,
    Clearance,
    Commitment,
    CommitmentTime,
    Hours,
    Import,
    Prescription,
    PrescriptionLine,
    Region,
    Resident,
    Role,
    Shift,
    ShiftTime,
    Station,
    Unit,
    User,
)
from program.models.scoped import set_scope
from program.rules.errors import Refused, Stale
from tests import factories
from tests.data.arrowfen.make import building_rows, workbook
from tests.data.hostile.make import event, hostile_files

MOST_BYTES = 100_000
FILES = Path(__file__).parents[2] / "data" / "arrowfen"


@pytest.fixture
def administrator(db):
    """Somebody who starts buildings and is in the care of nobody."""
    person = factories.with_role(None, "administrator")
    set_scope([], user_id=person.pk, is_administration=True)
    return person


def started(administrator, content=None):
    content = content or (FILES / "building.xlsx").read_bytes()
    judged = judge_file(kind="building", content=content, file_name="building.xlsx", by=administrator)
    return apply_import(imported=judged, by=administrator, version=1).building


@pytest.fixture
def from_files(administrator):
    return started(administrator)


def judge(building, by, name, content=None, **fields):
    kind = "calendars" if name.endswith(".ics") else "residents"
    content = (FILES / name).read_bytes() if content is None else content
    return judge_file(kind=kind, content=content, file_name=name, by=by, building=building, **fields)


def taken(building, by, name, content=None):
    return apply_import(imported=judge(building, by, name, content), by=by)


def residents_table(*rows):
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(dict.fromkeys(name for row in rows for name in row)))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


ANSGAR = {
    "person_key": "Z-1",
    "given_name": "Ansgar",
    "family_name": "Fenwright",
    "date_of_birth": "1938-04-17",
    "unit": "Heron wing",
    "help": "one helps three",
}


def all_rows():
    kinds = (
        Building,
        Clearance,
        Commitment,
        CommitmentTime,
        Prescription,
        PrescriptionLine,
        Resident,
        Role,
        Shift,
        Unit,
    )
    return {kind.__name__: kind.objects.count() for kind in kinds}


def counts(new=0, changed=0, unchanged=0, refused=0):
    return {"new": new, "changed": changed, "unchanged": unchanged, "refused": refused}


def test_a_building_starts_from_its_workbook(administrator):
    building = started(administrator)

    assert (building.name, building.region.name, building.timezone) == (
        "Arrowfen House",
        "Lower Fens",
        "America/New_York",
    )
    assert (building.rest_after_meal_minutes, building.buffer_turns, building.overdue_hours) == (30, 0, 120)
    assert [hours.weekday for hours in Hours.objects.filter(kind="open").order_by("weekday")] == [0, 1, 2, 3, 4, 5]
    assert Hours.objects.filter(kind="meal", starts_minute=720, ends_minute=780, unit=None).count() == 7
    assert [(station.name, station.load_step) for station in Station.objects.all()] == [
        ("Leg press", Decimal(5)),
        ("Pulley row", Decimal("2.5")),
        ("Heel rail", Decimal(1)),
        ("Cuff chair", Decimal("0.5")),
        ("High pulley", Decimal("2.5")),
    ]
    assert set(Role.objects.filter(building=building).values_list("user__name", "kind")) == {
        ("Marnie Oxbow", "coordinator"),
        ("Tobiah Reedham", "staff"),
        ("Zdeňka Wharfe", "staff"),
        ("Dr. Ottoline Farrowgate", "clinician"),
    }
    assert not any(person.has_usable_password() for person in User.objects.filter(roles__building=building))
    # Six weekdays over 400 days ahead and a week back.
    assert (
        Shift.objects.count(),
        ShiftTime.objects.filter(starts_at__gte=datetime(2026, 11, 30, tzinfo=UTC)).count(),
    ) == (
        6,
        343,
    )


def test_a_workbook_that_is_wrong_somewhere_starts_nothing(administrator):
    sheets = building_rows()
    sheets["Shifts"].append(["Nobody Known", "Monday", "08:00", "09:00", ""])
    judged = judge_file(kind="building", content=workbook(sheets), file_name="building.xlsx", by=administrator)

    with pytest.raises(Refused) as refusal:
        apply_import(imported=judged, by=administrator)

    assert [(told["sheet"], told["line"], told["field"]) for told in judged.refusals] == [("Shifts", 8, "person")]
    assert refusal.value.problem == "refused-rows"
    assert Building.objects.count() == Region.objects.count() == 0


def test_a_shift_that_clashes_with_another_building_leaves_no_building_behind(administrator, from_files):
    sheets = building_rows()
    sheets["Building"][1][1] = "Brindlewharf"
    judged = judge_file(kind="building", content=workbook(sheets), file_name="building.xlsx", by=administrator)

    with pytest.raises(Refused, match="already on the circuit"):
        apply_import(imported=judged, by=administrator)

    assert list(Building.objects.values_list("name", flat=True)) == ["Arrowfen House"]


def test_people_who_sign_in_already_are_found_by_their_address(administrator, from_files):
    sheets = building_rows()
    sheets["Building"][1][1], sheets["Shifts"] = "Brindlewharf", sheets["Shifts"][:1]
    before = User.objects.count()

    judged = judge_file(kind="building", content=workbook(sheets), file_name="building.xlsx", by=administrator)
    apply_import(imported=judged, by=administrator)

    assert (User.objects.count(), judged.counts["changed"]) == (before, 4)
    assert Role.objects.filter(user__email="marnie.oxbow@example.org").count() == 2


def test_a_name_that_is_taken_is_refused(administrator, from_files):
    content = (FILES / "building.xlsx").read_bytes()

    judged = judge_file(kind="building", content=content, file_name="building.xlsx", by=administrator)

    assert [told["sentence"] for told in judged.refusals] == ["There is a building of that name. Choose another."]


def test_forty_residents_arrive_with_all_that_the_file_says(from_files, administrator):
    imported = taken(from_files, administrator, "residents.csv")

    dagny = Resident.objects.get(key="AF-003")
    assert (imported.state, imported.counts) == ("applied", counts(new=40))
    assert (dagny.given_name, dagny.unit.name, dagny.help_sixths, dagny.escort_people) == ("Dagný", "Heron wing", 6, 0)
    # 2026-11-17T09:30 in New York, and 48 hours later; midnight of 7 September there.
    assert dagny.last_session_ended_at == datetime(2026, 11, 17, 14, 30, tzinfo=UTC)
    assert dagny.recovered_at == datetime(2026, 11, 19, 14, 30, tzinfo=UTC)
    assert dagny.since == dagny.enrolled_at == datetime(2026, 9, 7, 4, 0, tzinfo=UTC)
    assert Clearance.objects.get(resident=dagny).until_on == date(2027, 12, 31)
    line = PrescriptionLine.objects.get(prescription__resident=dagny, position=1)
    # 27.5 lb of 0.45359237 kg each (NIST SP 811, appendix B).
    assert (line.load, line.load_unit, line.load_kg) == (Decimal("27.5"), "lb", Decimal("12.473790175"))
    assert line.settings == "seat 4"


@pytest.mark.parametrize("name", ["residents.csv", "residents.xlsx", "calendars.ics"])
def test_the_same_file_twice_changes_nothing(from_files, administrator, name):
    taken(from_files, administrator, "residents.csv")
    taken(from_files, administrator, name)
    everything, trail = all_rows(), Audit.objects.exclude(noun="import").count()

    again = taken(from_files, administrator, name)

    assert (again.counts["new"], again.counts["changed"], again.counts["refused"]) == (0, 0, 0)
    assert (all_rows(), Audit.objects.exclude(noun="import").count()) == (everything, trail)


def test_what_a_file_would_change_is_said_field_by_field(from_files, administrator):
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"room": "12", "bed": "A"}))

    other = ANSGAR | {"room": "14", "help": "one-to-one", "given_name": "Ansgar B."}
    judged = judge(from_files, administrator, "residents.csv", residents_table(other))

    [row] = judged.rows
    assert (row["what"], sorted(row["changes"], key=lambda change: change["field"])) == (
        "changed",
        [
            {"field": "given_name", "was": "Ansgar", "becomes": "Ansgar B."},
            {"field": "help_sixths", "was": 2, "becomes": 6},
            {"field": "room", "was": "12", "becomes": "14"},
        ],
    )
    apply_import(imported=judged, by=administrator)
    assert Resident.objects.values_list("given_name", "help_sixths", "room", "bed").get() == ("Ansgar B.", 6, "14", "A")


def test_a_new_load_is_a_new_version_of_the_plan(from_files, administrator):
    line = {"station 1": "Leg press", "load 1": "60", "unit 1": "lb", "repetitions 1": "8-10"}
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | line))

    judged = judge(from_files, administrator, "residents.csv", residents_table(ANSGAR | line | {"load 1": "65"}))
    apply_import(imported=judged, by=administrator)

    words = ", 8-10, 60-90 s, 3 out, pause, 5 back"
    assert judged.rows[0]["changes"] == [
        {"field": "Leg press, leg press", "was": f"60 lb{words}", "becomes": f"65 lb{words}"}
    ]
    assert list(Prescription.objects.order_by("number").values_list("number", "lines__load")) == [
        (1, Decimal(60)),
        (2, Decimal(65)),
    ]


def test_an_empty_cell_neither_shortens_a_recovery_nor_takes_anybody_out(from_files, administrator):
    full = {"recovery_hours": "72", "in_programme_from": "2026-11-02", "agreed_on": "2026-11-02", "agreed_by": "A."}
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | full))

    empty = dict.fromkeys(full, "")
    judged = judge(from_files, administrator, "residents.csv", residents_table(ANSGAR | empty))

    assert judged.counts == counts(unchanged=1)


def test_what_was_withdrawn_does_not_come_back_with_an_old_file(from_files, administrator):
    taken(from_files, administrator, "residents.csv")
    resident = Resident.objects.get(key="AF-001")
    withdraw_agreement(resident=resident, by=administrator)
    withdraw_clearance(clearance=Clearance.objects.get(resident=resident), by=administrator)

    again = taken(from_files, administrator, "residents.csv")

    resident.refresh_from_db()
    assert again.counts == counts(unchanged=40)
    assert [row["sentence"] for row in again.rows if row["what"] == "note"] == [
        "Benno Quillmoor: The agreement was withdrawn; this file does not bring it back.",
        "Benno Quillmoor: This clearance was withdrawn; this file does not bring it back.",
    ]
    assert resident.agreement_withdrawn_at is not None
    assert Clearance.objects.filter(resident=resident, withdrawn_at=None).count() == 0


@pytest.mark.parametrize(
    ("cells", "field", "sentence"),
    [
        ({"unit": "Attic"}, "unit", "“Attic” is not one of: Heron wing, Alder floor, Mill court. Choose one of them."),
        ({"person_key": "Z" * 41}, "person_key", "Ensure this value has at most 40 characters (it has 41)."),
        ({"room": "R" * 21}, "room", "Ensure this value has at most 20 characters (it has 21)."),
        (
            {"station 1": "Leg press", "load 1": "5", "unit 1": "lb", "repetitions 1": "8"},
            "load 1",
            "Leg press goes from 10 to 240 lb, not to 5.",
        ),
        (
            {"station 1": "Leg press", "load 1": "60", "unit 1": "lb", "repetitions 1": "8", "turns 1": "9"},
            "turns 1",
            "A station is used for one to five turns.",
        ),
    ],
)
def test_a_row_that_does_not_fit_the_building_is_refused_alone(from_files, administrator, cells, field, sentence):
    other = ANSGAR | {"person_key": "Z-2"}

    imported = taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | cells, other))

    assert [(told["line"], told["field"], told["sentence"]) for told in imported.refusals] == [(2, field, sentence)]
    assert list(Resident.objects.values_list("key", flat=True)) == ["Z-2"]


def test_a_file_judged_before_something_changed_is_judged_again(from_files, administrator):
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"room": "12"}))
    judged = judge(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"room": "14"}))
    change_resident(resident=Resident.objects.get(), room="13")

    with pytest.raises(Refused) as refusal:
        apply_import(imported=judged, by=administrator)

    assert refusal.value.problem == "judge-again"
    assert Resident.objects.get().room == "13"


def test_a_file_is_applied_once(from_files, administrator):
    imported = taken(from_files, administrator, "residents.csv")

    with pytest.raises(Refused) as refusal:
        apply_import(imported=imported, by=administrator)

    assert refusal.value.problem == "already-applied"


def test_an_import_of_another_version_is_stale(from_files, administrator):
    judged = judge(from_files, administrator, "residents.csv")

    with pytest.raises(Stale):
        apply_import(imported=judged, by=administrator, version=2)


def test_what_the_database_alone_refuses_is_named_by_line_and_leaves_nothing(from_files, administrator):
    escorted = ANSGAR | {"person_key": "Z-2"}
    judged = judge(from_files, administrator, "residents.csv", residents_table(ANSGAR, escorted))
    # As if a reader had let it through: fetching by two people in no time.
    judged.rows[1]["values"]["resident"] |= {"escort_people": 2, "escort_minutes": 0}
    Import.objects.filter(pk=judged.pk).update(rows=judged.rows)

    with pytest.raises(Refused) as refusal:
        apply_import(imported=judged, by=administrator)

    assert refusal.value.details == {"line": 3}
    assert refusal.value.sentence.startswith("Line 3: Say how many minutes fetching takes")
    assert (Resident.objects.count(), Import.objects.get(pk=judged.pk).state) == (0, "judged")


def test_calendars_arrive_with_their_times(from_files, administrator):
    taken(from_files, administrator, "residents.csv")

    imported = taken(from_files, administrator, "calendars.ics")

    therapy = Commitment.objects.get(uid="therapy-1@arrowfen.example.org")
    moved = CommitmentTime.objects.filter(commitment=therapy, starts_at__date=date(2026, 11, 30)).get()
    assert (imported.counts, imported.rows[-1]["what"]) == (counts(new=5, unchanged=1), "note")
    assert (therapy.kind, therapy.resident.key, therapy.minutes) == ("therapy", "AF-001", 45)
    assert moved.starts_at == datetime(2026, 11, 30, 19, 0, tzinfo=UTC)
    assert Commitment.objects.get(uid="choir@arrowfen.example.org").is_movable


def test_an_entry_that_is_gone_from_the_next_file_stays_and_is_named(from_files, administrator):
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"person_key": "H-1"}))
    taken(from_files, administrator, "a.ics", event("DTSTART:20261201T090000", "DURATION:PT1H", "SUMMARY:Choir"))

    later = event("DTSTART:20261201T090000", "DURATION:PT1H").replace(b"UID:h@", b"UID:other@")
    judged = judge(from_files, administrator, "a.ics", later)
    apply_import(imported=judged, by=administrator)

    assert [row["sentence"] for row in judged.rows if row["what"] == "note"] == [
        "“Choir” of Ansgar Fenwright is not in this file. It stays; end it if it is over."
    ]
    assert Commitment.objects.filter(ended_at=None).count() == 2


def test_a_cancelled_entry_ends_the_one_that_is_there(from_files, administrator):
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"person_key": "H-1"}))
    taken(from_files, administrator, "a.ics", event("DTSTART:20261201T090000", "DURATION:PT1H"))

    cancelled = event("DTSTART:20261201T090000", "DURATION:PT1H", "STATUS:CANCELLED")
    imported = taken(from_files, administrator, "a.ics", cancelled)

    assert imported.counts == counts(changed=1)
    assert (Commitment.objects.get().ended_at is not None, CommitmentTime.objects.count()) == (True, 0)


def test_a_changed_entry_is_changed_and_says_what(from_files, administrator, at):
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"person_key": "H-1"}))
    taken(from_files, administrator, "a.ics", event("DTSTART:20261201T090000", "DURATION:PT1H"))

    imported = taken(from_files, administrator, "a.ics", event("DTSTART:20261201T100000", "DURATION:PT1H"))

    assert imported.rows[0]["changes"] == [
        {"field": "starts", "was": "2026-12-01T09:00:00", "becomes": "2026-12-01T10:00:00"}
    ]
    assert CommitmentTime.objects.get().starts_at == datetime(2026, 12, 1, 15, 0, tzinfo=UTC)


def test_a_later_file_that_says_the_same_confirms_it(from_files, administrator, at):
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"person_key": "H-1"}))
    content = event("DTSTART:20261201T090000", "DURATION:PT1H")
    taken(from_files, administrator, "a.ics", content)
    with at(datetime(2026, 12, 1, 12, 0, tzinfo=UTC)):
        taken(from_files, administrator, "a.ics", content)

    assert Commitment.objects.get().last_confirmed_on == date(2026, 12, 1)


def test_an_entry_of_nobody_here_is_refused(from_files, administrator):
    judged = judge(from_files, administrator, "a.ics", event("DTSTART:20261201T090000", "DURATION:PT1H"))

    assert [(told["line"], told["sentence"]) for told in judged.refusals] == [
        (2, "Arrowfen House has no resident “H-1”. Enrol them first.")
    ]


def test_hostile_files_leave_nothing_behind(from_files, administrator):
    """Each is refused as a whole, or applied without what was refused in it; only what is kept on purpose stays."""
    taken(from_files, administrator, "residents.csv", residents_table(ANSGAR | {"person_key": "H-1"}))
    kept = set()
    # Those as large as is allowed are measured where they are read.
    small = {
        name: file for name, file in hostile_files().items() if len(file[1]) < MOST_BYTES and "allowed" not in name
    }
    assert len(small) >= 60
    for name, (file_name, content) in small.items():
        try:
            imported = taken(from_files, administrator, file_name, content)
        except Refused as refusal:
            kept |= set() if refusal.problem == "unreadable-file" else {f"{name}: {refusal.sentence}"}
        else:
            kept |= {name} if imported.counts["new"] or imported.counts["changed"] else set()

    assert {name for name in kept if not name.startswith("KEPT")} == set()
    assert Resident.objects.filter(key="H-1").values_list("given_name", "room").get() == ("Ansgar", "")


def test_a_file_for_one_building_changes_no_other(from_files, administrator):
    sheets = building_rows()
    sheets["Building"][1][1], sheets["Shifts"] = "Brindlewharf", sheets["Shifts"][:1]
    other = started(administrator, workbook(sheets))
    for building in (from_files, other):
        taken(building, administrator, "residents.csv", residents_table(ANSGAR))

    taken(other, administrator, "residents.csv", residents_table(ANSGAR | {"room": "14"}))

    assert dict(Resident.objects.values_list("building__name", "room")) == {"Arrowfen House": "", "Brindlewharf": "14"}
