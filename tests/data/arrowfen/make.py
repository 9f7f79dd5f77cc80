"""Makes the files of the invented building Arrowfen House anew: `python -m tests.data.arrowfen.make`."""

import csv
import io
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import xlsxwriter

from program.importing.building_columns import SHEETS
from program.importing.resident_columns import COLUMNS, LINE_COLUMNS

FOLDER = Path(__file__).parent
ZONE = ZoneInfo("America/New_York")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday")
UNITS = ("Heron wing", "Alder floor", "Mill court")
# name, exercise, step, lightest, heaviest, a usual load: all in pounds
STATIONS = (
    ("Leg press", "leg press", "5", "10", "240", 60),
    ("Pulley row", "seated row", "2.5", "2.5", "90", 20),
    ("Heel rail", "heel raise", "1", "0", "40", 8),
    ("Cuff chair", "knee extension", "0.5", "0.5", "20", 5),
    ("High pulley", "pull-down", "2.5", "5", "100", 25),
)
GIVEN = ("Åsa", "Benno", "Cléo", "Dagný", "Emrys", "Fiammetta", "Gö", "Hedda", "Ñusta", "Jürg")
FAMILY = ("Quillmoor", "Østerbæk", "Vandelthorpe", "Žilvinaitė")
CLINICIAN = "Dr. Ottoline Farrowgate"


def building_rows() -> dict[str, list[list[str]]]:
    rows = {
        "Building": [
            ["name", "Arrowfen House"],
            ["region", "Lower Fens"],
            ["timezone", "America/New_York"],
            ["turn_minutes", "6"],
            ["rest_after_meal_minutes", "30"],
            ["margin_minutes", "10"],
            ["grace_minutes", "30"],
            ["overdue_hours", "120"],
            ["buffer_turns", "0"],
            ["max_wait_turns", "0"],
            ["skip_closed_stations", "yes"],
        ],
        "Units": [[unit] for unit in UNITS],
        "Opening hours": [[weekday, "08:00", "17:00"] for weekday in WEEKDAYS],
        "Meals": [["daily", "12:00", "13:00", ""]],
        "Stations": [[name, exercise, "lb", step, low, high] for name, exercise, step, low, high, _ in STATIONS],
        "People": [
            ["Marnie Oxbow", "marnie.oxbow@example.org", "coordinator", "2026-01-05", ""],
            ["Tobiah Reedham", "tobiah.reedham@example.org", "staff", "2026-01-05", ""],
            ["Zdeňka Wharfe", "zdenka.wharfe@example.org", "staff", "2026-06-01", ""],
            [CLINICIAN, "ottoline.farrowgate@example.org", "clinician", "2026-01-05", ""],
        ],
        "Shifts": [["Tobiah Reedham", weekday, "08:00", "17:00", "2026-01-05"] for weekday in WEEKDAYS],
    }
    return {sheet: [[column.name for column in SHEETS[sheet]], *rows[sheet]] for sheet in SHEETS}


def resident_rows() -> list[list[str]]:
    header = [column.name for column in COLUMNS]
    header += [f"{column.name} {number}" for number in range(1, len(STATIONS) + 1) for column in LINE_COLUMNS]
    return [header, *([resident(number).get(name, "") for name in header] for number in range(1, 41))]


def resident(number: int) -> dict[str, str]:
    given, family = GIVEN[number % len(GIVEN)], FAMILY[number // len(GIVEN) % len(FAMILY)]
    is_escorted = number % 5 < 3
    cells = {
        "person_key": f"AF-{number:03}",
        "given_name": given,
        "family_name": family,
        "date_of_birth": (date(1934, 2, 11) + timedelta(days=137 * number)).isoformat(),
        "unit": UNITS[number % 3],
        "room": str(100 + number),
        "bed": "A" if number % 2 else "B",
        "help": ("one helps three", "one helps three", "one helps two", "one-to-one")[number % 4],
        "escort": "escorted" if is_escorted else "alone",
        "escort_minutes": "10" if is_escorted else "",
        "helper_notes": "walks with a frame; hears better on the left; prefers “Frau Doktor”"
        if number % 6 == 0
        else "",
        "in_programme_from": "2026-09-07",
        "agreed_on": "2026-09-01",
        "agreed_by": "a daughter" if number % 9 == 0 else f"{given} {family}",
        "agreement_authority": "health care proxy of 2024" if number % 9 == 0 else "",
        "cleared_by": CLINICIAN,
        "clearance_credential": "MD",
        "cleared_on": "2026-08-31",
        "cleared_until": "2027-12-31",
        "sessions_a_week": "2",
        "last_session_ended_at": f"2026-11-{17 + number % 3}T{9 + number % 3:02}:30",
        "sessions_so_far": str(18 + number % 5),
        "preferred": ("morning", "afternoon", "")[number % 3],
    }
    if number == 40:
        cells["help"], cells["escort"], cells["escort_minutes"] = "two staff", "two people", "15"
    return cells | plan(number)


def plan(number: int) -> dict[str, str]:
    cells: dict[str, str] = {}
    for position, (name, _, step, _, _, usual) in enumerate(STATIONS, start=1):
        load = usual + (number % 5) * float(step)
        line = {"station": name, "load": f"{load:g}", "unit": "lb", "repetitions": "8-10", "turns": "1"}
        line |= {"seconds": "90", "pace": "3 out, pause, 5 back", "seat": str(number % 4 + 1)}
        cells |= {f"{column} {position}": cell for column, cell in line.items()}
    return cells


def workbook(sheets: dict[str, list[list[str]]]) -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True, "strings_to_formulas": False}) as book:
        # A fixed day keeps the file the same each time it is made.
        book.set_properties({"created": date(2026, 11, 1)})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                for position, cell in enumerate(row):
                    sheet.write_string(number, position, cell)
    return content.getvalue()


def residents_csv() -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(resident_rows())
    return text.getvalue().encode("utf-8-sig")


def calendars() -> bytes:
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Arrowfen House//invented//EN"]
    for lines_of_one in (therapy(), outing(), others()):
        lines += lines_of_one
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines).encode()


def folded(line: str) -> str:
    """Lines of at most 75 octets (RFC 5545, 3.1), never broken inside a character."""
    pieces, piece = [], ""
    for mark in line:
        if len((piece + mark).encode()) > 74:
            pieces.append(piece)
            piece = ""
        piece += mark
    return "\r\n ".join([*pieces, piece])


def event(resident_key: str, uid: str, *properties: str) -> list[str]:
    head = [f"UID:{uid}@arrowfen.example.org", "DTSTAMP:20261101T120000Z", f"X-RESIDENT-KEY:{resident_key}"]
    return ["BEGIN:VEVENT", *head, *properties, "END:VEVENT"]


def therapy() -> list[str]:
    """Twice a week, one day left out, one time moved to the afternoon."""
    zone = "TZID=America/New_York"
    series = event(
        "AF-001",
        "therapy-1",
        f"DTSTART;{zone}:20260302T100000",
        f"DTEND;{zone}:20260302T104500",
        "RRULE:FREQ=WEEKLY;BYDAY=MO,TH",
        f"EXDATE;{zone}:20261126T100000",
        "CATEGORIES:Physical therapy",
        "SUMMARY:Therapy with Åke Brønsted\\, in the bright room beside the winter garden on the ground floor",
    )
    moved = event(
        "AF-001",
        "therapy-1",
        f"RECURRENCE-ID;{zone}:20261130T100000",
        f"DTSTART;{zone}:20261130T140000",
        f"DTEND;{zone}:20261130T144500",
        "SUMMARY:Therapy\\, this once in the afternoon",
    )
    return series + moved


def outing() -> list[str]:
    return event(
        "AF-002", "outing-1", "DTSTART;VALUE=DATE:20261202", "CATEGORIES:OUTING", "SUMMARY:To the mill pond"
    ) + event(
        "AF-003",
        "choir",
        "DTSTART:20261201T150000",
        "DURATION:PT1H",
        "RRULE:FREQ=WEEKLY;COUNT=8",
        "CATEGORIES:ACTIVITY",
        "TRANSP:TRANSPARENT",
        "SUMMARY:Choir",
    )


def others() -> list[str]:
    dialysis = [
        event(
            f"AF-{number:03}",
            f"dialysis-{number}",
            "DTSTART:20261130T130000Z",
            "DTEND:20261130T170000Z",
            "RRULE:FREQ=WEEKLY;BYDAY=MO,WE,FR",
            "CATEGORIES:DIALYSIS",
            "SUMMARY:Dialysis",
        )
        for number in (11, 23)
    ]
    cancelled = event(
        "AF-004",
        "barber",
        "DTSTART;TZID=Eastern Standard Time:20261203T090000",
        "DTEND;TZID=Eastern Standard Time:20261203T093000",
        "STATUS:CANCELLED",
        "CATEGORIES:Barber",
        "SUMMARY:Barber",
    )
    return [line for one in dialysis for line in one] + cancelled


def write_all() -> None:
    (FOLDER / "building.xlsx").write_bytes(workbook(building_rows()))
    (FOLDER / "residents.csv").write_bytes(residents_csv())
    (FOLDER / "residents.xlsx").write_bytes(workbook({"Residents": resident_rows()}))
    (FOLDER / "calendars.ics").write_bytes(calendars())


if __name__ == "__main__":
    write_all()
