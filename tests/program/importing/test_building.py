from collections.abc import Mapping, Sequence
from datetime import date, time
from decimal import Decimal

import pytest

from program.importing.building import JudgedBuilding, judge_building
from program.importing.building_facts import BuildingFile, Meal, Period, PersonRow, Settings, ShiftRow, StationRow
from program.importing.tables import Table
from program.importing.workbooks import Row

SHEETS = {
    "Building": [
        ("setting", "value"),
        ("name", "Fen House"),
        ("region", "Lower Fens"),
        ("timezone", "Europe/Prague"),
        ("turn_minutes", "5"),
        ("skip_closed_stations", "no"),
        ("grace_minutes", ""),
    ],
    "Units": [("unit",), ("Heron wing",), ("Alder floor",)],
    "Opening hours": [
        ("weekday", "opens", "closes"),
        ("Monday", "08:00", "12:00"),
        ("Mon", "13:00", "17:00"),
    ],
    "Meals": [
        ("weekday", "starts", "ends", "unit"),
        ("daily", "12:00", "13:00", ""),
        ("Sunday", "11:30", "12:30", "heron wing"),
    ],
    "Stations": [
        ("name", "exercise", "load_unit", "load_step", "lightest", "heaviest"),
        ("Pulley", "seated row", "kg", "1.25", "2.5", "60"),
    ],
    "People": [
        ("name", "email", "role", "from", "until"),
        ("Tobiah Reedham", "Tobiah@example.org", "staff", "2026-01-05", "2026-12-31"),
    ],
    "Shifts": [
        ("person", "weekday", "starts", "ends", "from"),
        ("tobiah reedham", "Monday", "08:00", "12:00", ""),
        ("tobiah@example.org", "Monday", "13:00", "17:00", "2026-01-05"),
    ],
}


def judged(sheets: Mapping[str, Sequence[tuple[str, ...]]]) -> JudgedBuilding:
    return judge_building(
        [
            Table(name, rows[0], tuple(Row(line, row) for line, row in enumerate(rows[1:], start=2)))
            for name, rows in sheets.items()
        ]
    )


def refused(sheet: str, *rows: tuple[str, ...]) -> list[tuple[str, int, str, str]]:
    """Refusals of the sound workbook with more lines on one sheet."""
    judgement = judged(SHEETS | {sheet: [*SHEETS[sheet], *rows]})
    assert judgement.building is None
    return [(refusal.sheet, refusal.line, refusal.field, refusal.sentence) for refusal in judgement.refusals]


def test_a_sound_workbook_is_a_building():
    morning, afternoon = (time(8), time(12)), (time(13), time(17))
    assert judged(SHEETS) == JudgedBuilding(
        BuildingFile(
            settings=Settings("Fen House", "Lower Fens", "Europe/Prague", turn_minutes=5, skip_closed_stations=False),
            units=("Heron wing", "Alder floor"),
            opening_hours=(Period(1, *morning), Period(1, *afternoon)),
            meals=(Meal(None, time(12), time(13), ""), Meal(7, time(11, 30), time(12, 30), "heron wing")),
            stations=(StationRow("Pulley", "seated row", "kg", Decimal("1.25"), Decimal("2.5"), Decimal("60")),),
            people=(PersonRow("Tobiah Reedham", "tobiah@example.org", "staff", date(2026, 1, 5), date(2026, 12, 31)),),
            shifts=(
                ShiftRow("tobiah@example.org", 1, *morning, None),
                ShiftRow("tobiah@example.org", 1, *afternoon, date(2026, 1, 5)),
            ),
        ),
        (),
    )


REFUSED = [
    ("Building", ("shoe size", "9"), "shoe size", "This setting is not known. Remove or rename it."),
    ("Building", ("name", "Again"), "name", "This setting is there twice. Remove one."),
    (
        "Building",
        ("margin_minutes", "soon"),
        "margin_minutes",
        "“soon” is not a whole number from 0 to 120. Correct it.",
    ),
    ("Units", ("heron WING",), "unit", "This is already on line 2. Remove one of the two."),
    (
        "Opening hours",
        ("Moonday", "08:00", "09:00"),
        "weekday",
        "“Moonday” is not a weekday. Write Monday, Tuesday and so on.",
    ),
    (
        "Opening hours",
        ("Tuesday", "8am", "09:00"),
        "opens",
        "“8am” is not a time of day. Write it in 24 hours, like 08:00 or 17:30.",
    ),
    (
        "Opening hours",
        ("Tuesday", "09:00", "09:00"),
        "closes",
        "This is not after the opening. Correct one of the two.",
    ),
    (
        "Opening hours",
        ("Monday", "11:59", "12:30"),
        "opens",
        "This overlaps with line 2. Correct or remove one of the two.",
    ),
    (
        "Meals",
        ("daily", "09:00", "15:00", ""),
        "ends",
        "A meal takes from 10 minutes to 4 hours. Correct its start or its end.",
    ),
    (
        "Meals",
        ("Friday", "12:30", "13:30", ""),
        "starts",
        "This overlaps with line 2. Correct or remove one of the two.",
    ),
    (
        "Meals",
        ("daily", "18:00", "19:00", "Attic"),
        "unit",
        "The sheet Units has no “Attic”. Add it there, or correct this.",
    ),
    (
        "Stations",
        ("pulley", "Seated row", "kg", "1", "1", "2"),
        "name",
        "This is already on line 2. Remove one of the two.",
    ),
    (
        "Stations",
        ("Rail", "heel raise", "kg", "2", "1", "4"),
        "lightest",
        "1 is not a whole number of steps of 2. Correct load or step.",
    ),
    (
        "Stations",
        ("Rail", "heel raise", "kg", "1", "4", "2"),
        "heaviest",
        "This is less than the lightest load. Correct one of the two.",
    ),
    (
        "Stations",
        ("Rail", "heel raise", "kg", "0", "1", "2"),
        "load_step",
        "“0” is not a number from 0.001 to 100. Write it with a point, like 62.5.",
    ),
    (
        "People",
        ("X", "not an address", "staff", "", ""),
        "email",
        "“not an address” is not an e-mail address. Correct it.",
    ),
    (
        "People",
        ("X", "TOBIAH@example.org", "staff", "", ""),
        "email",
        "This is already on line 2. Remove one of the two.",
    ),
    (
        "People",
        ("X", "x@example.org", "system administrator", "", ""),
        "role",
        "“system administrator” is not one of: coordinator, staff, clinician. Choose one of them.",
    ),
    (
        "People",
        ("X", "x@example.org", "staff", "2026-02-01", "2026-01-01"),
        "until",
        "This is before the first day. Correct one of the two.",
    ),
    (
        "Shifts",
        ("Nobody", "Monday", "08:00", "09:00", ""),
        "person",
        "The sheet People has no “Nobody”. Add them there, or correct this.",
    ),
    (
        "Shifts",
        ("Tobiah Reedham", "Monday", "22:00", "06:00", ""),
        "ends",
        "This is not after the start. Write a shift over midnight as two.",
    ),
    (
        "Shifts",
        ("Tobiah Reedham", "Monday", "11:00", "13:30", ""),
        "starts",
        "This overlaps with line 2. Correct or remove one of the two.",
    ),
]


@pytest.mark.parametrize(("sheet", "row", "field", "sentence"), REFUSED)
def test_a_line_that_cannot_be_right_is_refused_by_sheet_and_line(sheet, row, field, sentence):
    line = len(SHEETS[sheet]) + 1

    assert refused(sheet, row)[0] == (sheet, line, field, sentence)


def test_a_shift_of_one_of_two_people_of_the_same_name_asks_for_the_address():
    namesake = ("Tobiah Reedham", "other@example.org", "staff", "", "")

    assert refused("People", namesake) == [
        ("Shifts", 2, "person", "Several people are called “tobiah reedham”. Write the e-mail instead.")
    ]


def test_every_line_within_a_long_one_overlaps_with_it():
    rows = [("Tuesday", "08:00", "17:00"), ("Tuesday", "09:00", "10:00"), ("Tuesday", "11:00", "12:00")]

    assert [(line, sentence[:26]) for _, line, _, sentence in refused("Opening hours", *rows)] == [
        (5, "This overlaps with line 4."),
        (6, "This overlaps with line 4."),
    ]


def test_a_zone_that_is_not_in_the_list_is_refused():
    rows = [row if row[0] != "timezone" else ("timezone", "Fen/Nowhere") for row in SHEETS["Building"]]

    assert [refusal.sentence for refusal in judged(SHEETS | {"Building": rows}).refusals] == [
        "“Fen/Nowhere” is not an IANA time zone. Write it like America/New_York."
    ]


def test_a_missing_setting_is_named():
    rows = [row for row in SHEETS["Building"] if row[0] != "region"]

    assert [(refusal.field, refusal.sentence) for refusal in judged(SHEETS | {"Building": rows}).refusals] == [
        ("region", "This setting is missing. Add a line for it.")
    ]


def test_unknown_and_missing_sheets_are_named():
    sheets = {name: rows for name, rows in SHEETS.items() if name != "Meals"} | {"Lunch": SHEETS["Meals"]}

    assert [(refusal.sheet, refusal.sentence) for refusal in judged(sheets).refusals] == [
        ("Lunch", "This sheet is not known. Remove or rename it."),
        ("Meals", "This sheet is missing. Add it, with its columns."),
    ]


def test_a_sheet_without_lines_is_refused_where_a_building_needs_one():
    assert [
        (refusal.sheet, refusal.sentence)
        for refusal in judged(SHEETS | {"Opening hours": SHEETS["Opening hours"][:1]}).refusals
    ] == [("Opening hours", "This sheet has no lines. Add at least one.")]


def test_an_unknown_column_is_named_with_its_sheet():
    sheets = SHEETS | {"Units": [("unit", "colour"), ("Heron wing", "blue")]}

    first = judged(sheets).refusals[0]

    assert (first.sheet, first.line, first.field) == ("Units", 1, "colour")
