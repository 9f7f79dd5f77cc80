"""Calendars from iCalendar files, and files that mean harm."""

from datetime import UTC, date, datetime

from program.actions.imports import apply_import
from program.models import (
    Commitment,
    CommitmentTime,
    Resident,
)
from program.rules.errors import Refused
from tests.data.arrowfen.make import building_rows, workbook
from tests.data.hostile.make import event, hostile_files
from tests.program.actions.imports.arranging import ANSGAR, MOST_BYTES, counts, judge, residents_table, started, taken


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
