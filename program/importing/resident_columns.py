"""The columns of a residents' table: their names, what each must hold, and an invented example."""

from dataclasses import dataclass
from typing import Final

LINES: Final = 12

HELP_SIXTHS: Final = {"one helps three": 2, "one helps two": 3, "one-to-one": 6, "two staff": 12}
ESCORTS: Final = ("alone", "escorted", "two people")
HALVES: Final = ("morning", "afternoon")


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    sentence: str
    example: str = ""
    is_required: bool = False


COLUMNS: Final = (
    Column("person_key", "Your own lasting mark for the person; it joins all their stays.", "P-0001", is_required=True),
    Column("given_name", "Given name, as it is written at home.", "Example", is_required=True),
    Column("family_name", "Family name.", "Invented", is_required=True),
    Column("date_of_birth", "Year-month-day; the second identifier.", "1938-04-17", is_required=True),
    Column("unit", "The wing or floor, named as in the building's own list.", "Garden wing", is_required=True),
    Column("room", "For finding, never for identifying.", "12"),
    Column("bed", "For finding, where a room has several.", "A"),
    Column("help", "one helps three, one helps two, one-to-one, or two staff.", "one helps three", is_required=True),
    Column("escort", "alone, escorted, or two people; empty means alone.", "escorted"),
    Column("escort_minutes", "Minutes each way, 1 to 60, for those who are escorted.", "10"),
    Column("helper_notes", "Up to six short lines for helpers, separated by semicolons.", "hears better on the left"),
    Column("in_programme_from", "First day in the programme; needs an agreement.", "2026-11-02"),
    Column("agreed_on", "Day of the agreement.", "2026-11-02"),
    Column("agreed_by", "Who agreed: the resident or a representative.", "Example Invented"),
    Column("agreement_authority", "On what authority a representative agreed; empty for residents themselves.", ""),
    Column("cleared_by", "The licensed clinician who said yes.", "Dr. Made Up"),
    Column("clearance_credential", "Their credential.", "MD"),
    Column("cleared_on", "Day of the clearance.", "2026-10-30"),
    Column("cleared_until", "Last day on which it is valid.", "2027-10-30"),
    Column("clearance_limits", "What the clinician limited, in words.", "no overhead pull"),
    Column("sessions_a_week", "1, 2 or 3.", "2"),
    Column("recovery_hours", "48 or more; empty means 48.", "48"),
    Column("last_session_ended_at", "Local time, or with an offset, like 2026-09-24T10:30.", "2026-09-24T10:30"),
    Column("sessions_so_far", "How many sessions the person has done before.", "7"),
    Column("preferred", "morning, afternoon, or empty.", "morning"),
)

# Repeated for each exercise: “station 1”, “load 1”, … up to 12.
LINE_COLUMNS: Final = (
    Column("station", "The station, named as in the building's own list.", "Leg press"),
    Column("exercise", "Needed only where a station serves more than one exercise.", ""),
    Column("load", "The load as a number with a point.", "45"),
    Column("unit", "kg or lb.", "lb"),
    Column("repetitions", "A range like 8-10, or one number.", "8-10"),
    Column("turns", "Turns of the circuit's clock, 1 to 10; empty means 1.", "1"),
    Column("seconds", "Set time in seconds, 10 to 600.", "90"),
    Column("pace", "In words.", "3 out, pause, 5 back"),
    Column("seat", "Seat setting.", "4"),
    Column("pad", "Pad setting.", "2"),
    Column("range", "Limits of the range of movement, in words.", "not below 90 degrees"),
)


def all_names() -> list[str]:
    return [column.name for column in COLUMNS] + [
        f"{column.name} {number}" for number in range(1, LINES + 1) for column in LINE_COLUMNS
    ]
