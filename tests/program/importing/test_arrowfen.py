"""The files of Arrowfen House: a building's worth of what people really have."""

from datetime import UTC, date, datetime, time
from decimal import Decimal
from pathlib import Path

import pytest

from program.importing.blank import blank_residents_csv, blank_residents_workbook, blank_workbook
from program.importing.building import judge_building
from program.importing.building_facts import BuildingFile
from program.importing.calendars import CommitmentRow, read_calendar
from program.importing.exercise_lines import StationFact
from program.importing.recurrence import occurrences
from program.importing.residents import JudgedResidents, judge
from program.importing.tables import read_sheets, read_table
from tests.data.arrowfen import make

TODAY = date(2026, 11, 28)
WEEK = {
    "window_from": datetime(2026, 11, 30, 5, tzinfo=UTC),
    "window_until": datetime(2026, 12, 7, 5, tzinfo=UTC),
}


def building() -> BuildingFile:
    judgement = judge_building(read_sheets((make.FOLDER / "building.xlsx").read_bytes(), "building.xlsx"))
    assert judgement.refusals == ()
    return judgement.building


def residents(filename: str) -> JudgedResidents:
    arrowfen = building()
    stations = [
        StationFact(station.name, station.load_unit, station.load_step, station.exercise)
        for station in arrowfen.stations
    ]
    table = read_table((make.FOLDER / filename).read_bytes(), filename)
    return judge(table, timezone=arrowfen.settings.timezone, stations=stations, units=arrowfen.units, today=TODAY)


def commitments() -> dict[str, CommitmentRow]:
    content = (make.FOLDER / "calendars.ics").read_bytes()
    file = read_calendar(content, timezone="America/New_York", today=TODAY)
    assert file.refusals == ()
    return {row.person_key: row for row in file.rows}


def test_the_building_is_the_one_of_the_walk_throughs():
    arrowfen = building()

    assert {(period.starts, period.ends) for period in arrowfen.opening_hours} == {(time(8), time(17))}
    assert [period.weekday for period in arrowfen.opening_hours] == [1, 2, 3, 4, 5, 6]
    assert (arrowfen.settings.turn_minutes, arrowfen.settings.rest_after_meal_minutes) == (6, 30)
    assert [(station.name, station.load_unit) for station in arrowfen.stations] == [
        (name, "lb") for name, *_ in make.STATIONS
    ]


def test_forty_residents_are_the_same_from_both_files():
    from_text, from_workbook = residents("residents.csv"), residents("residents.xlsx")

    assert from_text.refusals == ()
    assert len(from_text.rows) == 40
    assert from_text == from_workbook


def test_loads_are_exact_and_notes_are_separate_lines():
    row = residents("residents.csv").rows[5]

    assert [line.load for line in row.plan] == [
        Decimal("65"),
        Decimal("22.5"),
        Decimal("9"),
        Decimal("5.5"),
        Decimal("27.5"),
    ]
    assert row.helper_notes == ("walks with a frame", "hears better on the left", "prefers “Frau Doktor”")


@pytest.mark.parametrize(
    ("person_key", "kind", "local"),
    [
        ("AF-001", "therapy", ["Mon 14:00-14:45", "Thu 10:00-10:45"]),
        ("AF-002", "outing", ["Wed 00:00-00:00"]),
        ("AF-003", "activity", ["Tue 15:00-16:00"]),
        ("AF-011", "dialysis", ["Mon 08:00-12:00", "Wed 08:00-12:00", "Fri 08:00-12:00"]),
    ],
)
def test_a_week_of_commitments_is_as_the_calendar_shows_it(person_key, kind, local):
    row = commitments()[person_key]
    spans = occurrences(row.times, timezone="America/New_York", **WEEK)

    zone = make.ZONE
    shown = [f"{starts.astimezone(zone):%a %H:%M}-{ends.astimezone(zone):%H:%M}" for starts, ends in spans]
    assert (row.kind, shown) == (kind, local)


def test_what_was_cancelled_and_what_can_move_say_so():
    rows = commitments()

    assert [key for key, row in rows.items() if row.is_cancelled] == ["AF-004"]
    assert [key for key, row in rows.items() if row.is_movable] == ["AF-003"]


@pytest.mark.parametrize("name", ["residents.csv", "calendars.ics"])
def test_the_files_are_those_that_their_program_makes(name):
    made = {"residents.csv": make.residents_csv, "calendars.ics": make.calendars}

    assert Path(make.FOLDER / name).read_bytes() == made[name]()


def test_no_line_of_the_calendar_is_longer_than_the_standard_allows():
    # RFC 5545, 3.1: lines should not be longer than 75 octets.
    assert max(len(line) for line in (make.FOLDER / "calendars.ics").read_bytes().split(b"\r\n")) <= 75


def test_the_empty_residents_table_can_be_filled_in_and_read():
    for content, filename in ((blank_residents_csv(), "a.csv"), (blank_residents_workbook(), "a.xlsx")):
        judgement = judge(read_table(content, filename), timezone="UTC", stations=(), units=(), today=TODAY)

        assert judgement.refusals == ()
        assert [row.family_name for row in judgement.rows] == ["Invented"]


def test_the_empty_workbook_can_be_filled_in_and_read():
    judgement = judge_building(read_sheets(blank_workbook(), "building.xlsx"))

    assert judgement.refusals == ()
    assert judgement.building.settings.name == "Example House"
