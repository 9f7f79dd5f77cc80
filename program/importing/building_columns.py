"""The sheets of a building's workbook: their columns, what each must hold, and an invented example."""

from typing import Final

from program.importing.resident_columns import Column

SETTINGS: Final = (
    Column("name", "What the building is called.", "Example House", is_required=True),
    Column("region", "The region it belongs to.", "Example Region", is_required=True),
    Column("timezone", "IANA name of its time zone.", "America/New_York", is_required=True),
    Column("turn_minutes", "Smallest step of the circuit's clock, 1 to 60; empty means 6.", "6"),
    Column("rest_after_meal_minutes", "0 to 240, set by a clinician; empty means 60.", "60"),
    Column("margin_minutes", "Kept free before and after fixed commitments, 0 to 120; empty means 10.", "10"),
    Column("grace_minutes", "After which a session is late, 0 to 240; empty means 30.", "30"),
    Column("overdue_hours", "After which a resident is overdue, 48 to 720; empty means 144.", "144"),
    Column("buffer_turns", "Turns that plans keep on top of recovery, 0 to 10; empty means 1.", "1"),
    Column("max_wait_turns", "Longest wait between two stations, 0 or 1 turn; empty means 0.", "0"),
    Column("skip_closed_stations", "yes or no: go on without a station that is out of order.", "yes"),
)

SHEETS: Final = {
    "Building": (
        Column("setting", "One of the settings.", is_required=True),
        Column("value", "Its value.", is_required=True),
    ),
    "Units": (Column("unit", "A wing or floor.", "Garden wing", is_required=True),),
    "Opening hours": (
        Column("weekday", "Monday to Sunday; several lines for several periods.", "Monday", is_required=True),
        Column("opens", "Local time, like 08:00.", "08:00", is_required=True),
        Column("closes", "Local time, like 17:00.", "17:00", is_required=True),
    ),
    "Meals": (
        Column("weekday", "Monday to Sunday, or daily.", "daily", is_required=True),
        Column("starts", "Local time.", "12:00", is_required=True),
        Column("ends", "Local time.", "13:00", is_required=True),
        Column("unit", "Only for one unit; empty means the whole building.", ""),
    ),
    "Stations": (
        Column("name", "The piece of equipment.", "Leg press", is_required=True),
        Column("exercise", "What is done there; one line for each exercise.", "leg press", is_required=True),
        Column("load_unit", "kg or lb.", "lb", is_required=True),
        Column("load_step", "Smallest change of load.", "5", is_required=True),
        Column("lightest", "Smallest load.", "10", is_required=True),
        Column("heaviest", "Largest load.", "200", is_required=True),
    ),
    "People": (
        Column("name", "As colleagues know the person.", "Example Aide", is_required=True),
        Column("email", "For signing in.", "aide@example.org", is_required=True),
        Column("role", "coordinator, staff or clinician.", "staff", is_required=True),
        Column("from", "First day; empty means from now on.", "2026-11-02"),
        Column("until", "Last day; empty means until changed.", ""),
    ),
    "Shifts": (
        Column("person", "Name or e-mail, as on the sheet People.", "aide@example.org", is_required=True),
        Column("weekday", "Monday to Sunday.", "Monday", is_required=True),
        Column("starts", "Local time.", "08:00", is_required=True),
        Column("ends", "Local time.", "17:00", is_required=True),
        Column("from", "First day; empty means from now on.", ""),
    ),
}

# Roles above one building are given by an administrator, never by a file.
ROLES: Final = ("coordinator", "staff", "clinician")
