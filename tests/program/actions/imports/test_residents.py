"""Residents and their exercise plans from a table."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from program.actions.imports import apply_import
from program.actions.residents import change_resident, withdraw_agreement
from program.actions.safety import withdraw_clearance
from program.models import (
    Audit,
    Clearance,
    Import,
    Prescription,
    PrescriptionLine,
    Resident,
)
from program.rules.errors import Refused, Stale
from tests.program.actions.imports.arranging import (
    ANSGAR,
    all_rows,
    counts,
    judge,
    residents_table,
    taken,
)


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
