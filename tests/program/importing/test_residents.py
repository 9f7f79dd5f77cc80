import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from program.importing.exercise_lines import PlanLine, StationFact
from program.importing.refusals import RowRefusal
from program.importing.residents import Agreement, ClearanceGiven, JudgedResidents, ResidentRow, judge
from program.importing.tables import read_table

TODAY = date(2026, 11, 28)
STATIONS = (
    StationFact("Leg press", "lb", Decimal("5"), "leg press"),
    StationFact("Pulley", "kg", Decimal("2.5"), "seated row"),
    StationFact("Pulley", "kg", Decimal("2.5"), "pull-down"),
)
SOUND = {
    "person_key": "AF-001",
    "given_name": "Åsa",
    "family_name": "Quillmoor",
    "date_of_birth": "1938-04-17",
    "unit": "Heron wing",
    "room": "12",
    "bed": "A",
    "help": "one helps two",
    "escort": "escorted",
    "escort_minutes": "10",
    "helper_notes": "walks with a frame; hears better on the left",
    "in_programme_from": "2026-09-07",
    "agreed_on": "2026-09-01",
    "agreed_by": "Åsa Quillmoor",
    "agreement_authority": "",
    "cleared_by": "Dr. Ottoline Farrowgate",
    "clearance_credential": "MD",
    "cleared_on": "2026-08-31",
    "cleared_until": "2027-12-31",
    "clearance_limits": "no overhead pull",
    "sessions_a_week": "2",
    "recovery_hours": "50.5",
    "last_session_ended_at": "2026-11-26T10:30",
    "sessions_so_far": "18",
    "preferred": "morning",
    "station 1": "leg press",
    "exercise 1": "",
    "load 1": "65",
    "unit 1": "lb",
    "repetitions 1": "8-10",
    "turns 1": "",
    "seconds 1": "90",
    "pace 1": "3 out, pause, 5 back",
    "seat 1": "4",
    "pad 1": "",
    "range 1": "",
    "station 2": "",
    "exercise 2": "",
    "load 2": "",
    "unit 2": "",
    "repetitions 2": "",
}
READ = ResidentRow(
    line=2,
    person_key="AF-001",
    given_name="Åsa",
    family_name="Quillmoor",
    date_of_birth=date(1938, 4, 17),
    unit="Heron wing",
    room="12",
    bed="A",
    help_sixths=3,
    escort="escorted",
    escort_minutes=10,
    helper_notes=("walks with a frame", "hears better on the left"),
    in_programme_from=date(2026, 9, 7),
    agreement=Agreement(date(2026, 9, 1), "Åsa Quillmoor", ""),
    clearance=ClearanceGiven(
        "Dr. Ottoline Farrowgate", "MD", date(2026, 8, 31), date(2027, 12, 31), "no overhead pull"
    ),
    sessions_a_week=2,
    recovery_hours=Decimal("50.5"),
    last_session_ended_at=datetime(2026, 11, 26, 15, 30, tzinfo=UTC),
    sessions_so_far=18,
    preferred="morning",
    plan=(
        PlanLine("Leg press", "leg press", Decimal("65"), "lb", (8, 10), 1, 90, "3 out, pause, 5 back", "4", "", ""),
    ),
)


def judged(*rows: dict[str, str], stations: tuple[StationFact, ...] = STATIONS) -> JudgedResidents:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, fieldnames=list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    table = read_table(text.getvalue().encode(), "residents.csv")
    return judge(table, timezone="America/New_York", stations=stations, units=("Heron wing",), today=TODAY)


def refused(**cells: str) -> list[tuple[str, str]]:
    """Field and sentence of each refusal of the sound row with other cells."""
    return [(refusal.field, refusal.sentence) for refusal in judged(SOUND | cells).refusals]


def test_a_sound_row_is_read_whole():
    assert judged(SOUND) == JudgedResidents((READ,), ())


def test_only_what_is_needed_must_be_there():
    names = ("person_key", "given_name", "family_name", "date_of_birth", "unit", "help")

    rows = judged({name: SOUND[name] for name in names}).rows

    assert [(row.escort, row.escort_minutes, row.recovery_hours, row.plan) for row in rows] == [("alone", 0, 48, ())]


def test_column_names_are_taken_in_any_case_and_spacing():
    respelled = {name.replace("_", " ").upper(): cell for name, cell in SOUND.items()}

    assert judged(respelled).rows == (READ,)


def test_unknown_repeated_and_missing_columns_are_each_named_and_no_row_is_judged():
    table = read_table(b"person_key,given_name,Shoe size,given name,family_name,unit,help\nA,B,C,D,E,F,G\n", "a.csv")

    judgement = judge(table, timezone="America/New_York", stations=(), units=(), today=TODAY)

    assert judgement == JudgedResidents(
        (),
        (
            RowRefusal(1, "Shoe size", "This column is not known. Remove or rename it."),
            RowRefusal(1, "given name", "This column is there twice. Remove one."),
            RowRefusal(1, "date_of_birth", "This column is missing. Add it."),
        ),
    )


def test_every_row_is_judged_and_every_refusal_has_its_line():
    judgement = judged(
        SOUND | {"help": "three staff"}, SOUND | {"person_key": "AF-002"}, SOUND | {"person_key": "", "room": "\u202e1"}
    )

    assert [row.person_key for row in judgement.rows] == ["AF-002"]
    assert [(refusal.line, refusal.field) for refusal in judgement.refusals] == [
        (2, "help"),
        (4, "person_key"),
        (4, "room"),
    ]


def test_a_person_who_is_there_twice_is_refused_the_second_time():
    assert judged(SOUND, SOUND).refusals == (
        RowRefusal(3, "person_key", "This person_key is already on line 2. Give each person one line."),
    )


def test_a_line_with_more_cells_than_columns_is_refused():
    table = read_table(
        b"person_key,given_name,family_name,date_of_birth,unit,help\nA,B,C,1938-04-17,E,two staff,x\n", "a.csv"
    )

    assert judge(table, timezone="UTC", stations=(), units=(), today=TODAY).refusals == (
        RowRefusal(2, "", "This line has more cells than there are columns. Put texts with commas in quotation marks."),
    )


SENTENCES = [
    ("given_name", "", "This must not be empty. Fill it in."),
    ("given_name", "A" * 81, "This is longer than 80 characters. Shorten it."),
    ("family_name", "=1+1", "This begins with “=”, which spreadsheets take for a formula. Replace it by its value."),
    ("family_name", "a\u202eb", "This holds invisible control characters. Type it again."),
    ("date_of_birth", "17.04.1938", "“17.04.1938” is not a date. Write it as year-month-day, like 2026-11-30."),
    ("date_of_birth", "1938-02-30", "There is no day 1938-02-30 in the calendar. Correct it."),
    ("date_of_birth", "2026-11-29", "2026-11-29 is in the future. Correct the date."),
    ("date_of_birth", "1838-04-17", "1838-04-17 is before 1900. Correct the date."),
    ("unit", "Attic", "“Attic” is not one of: Heron wing. Choose one of them."),
    (
        "help",
        "a lot",
        "“a lot” is not one of: one helps three, one helps two, one-to-one, two staff. Choose one of them.",
    ),
    ("escort", "carried", "“carried” is not one of: alone, escorted, two people. Choose one of them."),
    ("escort_minutes", "61", "“61” is not a whole number from 0 to 60. Correct it."),
    ("escort_minutes", "", "Say how many minutes the way takes, 1 to 60."),
    ("helper_notes", "a;b;c;d;e;f;g", "There are 7 helper notes; at most 6 are shown. Shorten the list."),
    ("in_programme_from", "2026-08-31", "This is before the agreement of 2026-09-01. Correct one of the two."),
    ("agreed_on", "2026-11-30", "2026-11-30 is in the future. Correct the date."),
    ("agreed_by", "", "This must not be empty. Fill it in."),
    ("clearance_credential", "", "This must not be empty. Fill it in."),
    ("cleared_until", "2026-08-30", "This is before the clearance was given, 2026-08-31. Correct one of the two."),
    ("sessions_a_week", "4", "“4” is not a whole number from 1 to 3. Correct it."),
    ("recovery_hours", "47.9", "“47.9” is not a number from 48 to 336. Write it with a point, like 62.5."),
    ("last_session_ended_at", "yesterday", "“yesterday” is not a date and time. Write it like 2026-11-30T10:30."),
    ("last_session_ended_at", "2026-11-26T25:00", "There is no date and time 2026-11-26T25:00. Correct it."),
    ("last_session_ended_at", "2026-11-29T10:30", "2026-11-29 is in the future. Correct the date."),
    (
        "last_session_ended_at",
        "2026-03-08T02:30",
        "2026-03-08T02:30 does not exist: the clocks were put forward over it. Correct the time.",
    ),
    (
        "last_session_ended_at",
        "2026-11-01T01:30",
        "2026-11-01T01:30 happened twice, when the clocks were put back. Add the offset: 2026-11-01T01:30-04:00 or "
        "2026-11-01T01:30-05:00.",
    ),
    ("sessions_so_far", "-1", "“-1” is not a whole number from 0 to 10000. Correct it."),
    ("preferred", "night", "“night” is not one of: morning, afternoon. Choose one of them."),
    ("station 1", "", "This must not be empty. Fill it in."),
    ("station 1", "Rack", "The building has no station “Rack”. Add it there, or correct this."),
    ("load 1", "62,5", "“62,5” is not a number from 0 to 1000. Write it with a point, like 62.5."),
    ("load 1", "63", "Leg press goes in steps of 5 lb; 63 cannot be set there."),
    ("load 1", "1e2", "“1e2” is not a number from 0 to 1000. Write it with a point, like 62.5."),
    ("unit 1", "kg", "Leg press is loaded in lb, not in kg. Correct load and unit."),
    ("unit 1", "stone", "“stone” is not one of: kg, lb. Choose one of them."),
    ("repetitions 1", "10-8", "“10-8” is not a range within 1 to 30, smaller number first. Correct it."),
    ("repetitions 1", "many", "“many” is not a range. Write it like 8-10, or as one number."),
    ("turns 1", "0", "“0” is not a whole number from 1 to 10. Correct it."),
    ("seconds 1", "9", "“9” is not a whole number from 10 to 600. Correct it."),
]


@pytest.mark.parametrize(("field", "cell", "sentence"), SENTENCES)
def test_a_cell_that_cannot_be_right_is_refused_with_what_to_do(field, cell, sentence):
    assert refused(**{field: cell}) == [(field, sentence)]


def test_somebody_who_comes_alone_has_no_escort_minutes():
    assert refused(escort="alone") == [
        ("escort_minutes", "Who comes alone has no escort minutes. Empty this, or name the escort.")
    ]


def test_nobody_is_in_the_programme_without_an_agreement():
    assert refused(agreed_on="", agreed_by="") == [
        ("agreed_on", "Nobody is in the programme without an agreement. Fill in agreed_on and agreed_by.")
    ]


def test_an_end_in_the_hour_that_happened_twice_is_taken_with_its_offset():
    row = judged(SOUND | {"last_session_ended_at": "2026-11-01T01:30-05:00"}).rows[0]

    assert row.last_session_ended_at == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)


SECOND = {"station 2": "Pulley", "load 2": "12.5", "unit 2": "kg", "repetitions 2": "8"}


def test_a_station_of_two_exercises_asks_which_one():
    assert refused(**SECOND) == [("exercise 2", "Say which exercise is done at Pulley: seated row, pull-down.")]


def test_a_named_exercise_of_a_station_is_taken():
    plan = judged(SOUND | SECOND | {"exercise 2": "Pull-down"}).rows[0].plan

    assert [(line.station, line.exercise, line.load, line.repetitions) for line in plan] == [
        ("Leg press", "leg press", Decimal("65"), (8, 10)),
        ("Pulley", "pull-down", Decimal("12.5"), (8, 8)),
    ]


def test_the_same_exercise_twice_in_a_plan_is_refused():
    twice = {"station 2": "Leg press", "load 2": "60", "unit 2": "lb", "repetitions 2": "8"}

    assert refused(**twice) == [("station 2", "Leg press is in this plan twice. Keep one of the two.")]


def test_without_a_list_of_stations_any_station_and_load_is_taken():
    assert judged(SOUND | {"station 1": "Rack", "load 1": "63.7"}, stations=()).rows[0].plan[0].load == Decimal("63.7")
