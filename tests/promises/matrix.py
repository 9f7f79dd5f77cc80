"""The written table of who may do what at which address; `test_doors.py` holds the service to it, both ways."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

from tests.promises import matrix_of_people, matrix_of_reports, matrix_of_the_day
from tests.promises.furnished import Furnished

# Instead of a right of program/access.py: anybody at all; whoever is signed in; whoever starts buildings.
PUBLIC, SIGNED_IN, START = "public", "signed in", "start a building"
SEE, SEE_RESIDENTS = "see this building", "see residents"
PLAN, RECORD, CORRECT = "plan sessions", "record sessions", "correct records"
RESIDENTS, CALENDARS, SHIFTS, PLACES = "change residents", "change calendars", "change shifts", "change places"
CLOSE, CLEAR, PRESCRIBE, HOLD, RELEASE, IMPORT = (
    "report a closure",
    "enter clearances",
    "prescribe",
    "set a hold",
    "release an exercise hold",
    "import files",
)


def both(right: str) -> dict[str, str]:
    """A form: the same right to see it and to send it."""
    return {"GET": right, "POST": right}


API: dict[str, dict[str, str]] = {
    "me/": {"GET": SIGNED_IN},
    "schema/": {"GET": SIGNED_IN},
    "buildings/": {"GET": SEE},
    "buildings/<int:pk>/": {"GET": SEE, "PATCH": PLACES},
    "units/": {"GET": SEE, "POST": PLACES},
    "units/<int:pk>/": {"GET": SEE},
    "hours/": {"GET": SEE, "POST": PLACES},
    "hours/<int:pk>/": {"GET": SEE, "DELETE": PLACES},
    "stations/": {"GET": SEE, "POST": PLACES},
    "stations/<int:pk>/": {"GET": SEE, "PATCH": PLACES},
    "closures/": {"GET": SEE, "POST": CLOSE},
    "closures/<int:pk>/": {"GET": SEE},
    "closures/<int:pk>/end/": {"POST": CLOSE},
    "people/": {"GET": SEE},
    "shifts/": {"GET": SEE, "POST": SHIFTS},
    "shifts/<int:pk>/": {"GET": SEE},
    "shifts/<int:pk>/change/": {"POST": SHIFTS},
    "shifts/<int:pk>/end/": {"POST": SHIFTS},
    "residents/": {"GET": SEE_RESIDENTS, "POST": RESIDENTS},
    "residents/<int:pk>/": {"GET": SEE_RESIDENTS, "PATCH": RESIDENTS},
    "residents/<int:pk>/agree/": {"POST": RESIDENTS},
    "residents/<int:pk>/end-stay/": {"POST": RESIDENTS},
    "residents/<int:pk>/recovery/": {"POST": PRESCRIBE},
    "residents/<int:pk>/withdraw-agreement/": {"POST": RESIDENTS},
    "residents/<int:pk>/times/": {"GET": SEE_RESIDENTS},
    "clearances/": {"GET": SEE_RESIDENTS, "POST": CLEAR},
    "clearances/<int:pk>/": {"GET": SEE_RESIDENTS},
    "clearances/<int:pk>/withdraw/": {"POST": CLEAR},
    "holds/": {"GET": SEE_RESIDENTS, "POST": HOLD},
    "holds/<int:pk>/": {"GET": SEE_RESIDENTS},
    # An absence, as furnished; an exercise hold is released by clinicians alone (tests/program/api/test_safety.py).
    "holds/<int:pk>/end/": {"POST": HOLD},
    "prescriptions/": {"GET": SEE_RESIDENTS, "POST": PRESCRIBE},
    "prescriptions/<int:pk>/": {"GET": SEE_RESIDENTS},
    "commitments/": {"GET": SEE_RESIDENTS, "POST": CALENDARS},
    "commitments/<int:pk>/": {"GET": SEE_RESIDENTS, "PATCH": CALENDARS},
    "commitments/<int:pk>/end/": {"POST": CALENDARS},
    "commitment-times/": {"GET": SEE_RESIDENTS},
    "pairings/": {"GET": SEE_RESIDENTS, "POST": RESIDENTS},
    "pairings/<int:pk>/": {"GET": SEE_RESIDENTS, "DELETE": RESIDENTS},
    "records/": {"GET": SEE_RESIDENTS},
    "sets/": {"GET": SEE_RESIDENTS},
    "imports/": {"GET": SEE, "POST": IMPORT},
    "imports/<int:pk>/": {"GET": IMPORT},
    "imports/<int:pk>/apply/": {"POST": IMPORT},
    "audit/": {"GET": "see the audit trail"},
    "rosters/": {"GET": SEE, "POST": PLAN},
    "rosters/<int:pk>/": {"GET": SEE_RESIDENTS},
    "rosters/<int:pk>/compare/": {"GET": SEE_RESIDENTS},
    "rosters/<int:pk>/publish/": {"POST": PLAN},
    "sessions/": {"GET": SEE_RESIDENTS, "POST": PLAN},
    "sessions/unplanned/": {"POST": RECORD},
    "sessions/<int:pk>/": {"GET": SEE_RESIDENTS},
    "sessions/<int:pk>/give-up/": {"POST": RECORD},
    "sessions/<int:pk>/move/": {"POST": PLAN},
    "sessions/<int:pk>/move-to-resident/": {"POST": CORRECT},
    "sessions/<int:pk>/records/": {"POST": RECORD},
    "sessions/<int:pk>/withdraw/": {"POST": PLAN},
}

RESIDENT = "residents/<int:resident_id>/"
PAGES_OF_A_BUILDING: dict[str, dict[str, str]] = {
    "": {"GET": SEE},
    "residents/": {"GET": SEE_RESIDENTS},
    RESIDENT: {"GET": SEE_RESIDENTS},
    f"{RESIDENT}change/": both(RESIDENTS),
    f"{RESIDENT}agreement/": both(RESIDENTS),
    f"{RESIDENT}hold/": both(HOLD),
    f"{RESIDENT}away/": both(HOLD),
    f"{RESIDENT}holds/<int:hold_id>/": both(HOLD),
    f"{RESIDENT}calendar/": both(CALENDARS),
    f"{RESIDENT}calendar/<int:commitment_id>/": both(CALENDARS),
    f"{RESIDENT}calendar/<int:commitment_id>/end/": both(CALENDARS),
    f"{RESIDENT}times/": both(PLAN),
    "clearances/": {"GET": SEE_RESIDENTS, "POST": CLEAR},
    "shifts/": {"GET": SEE},
    "shifts/add/": both(SHIFTS),
    "shifts/<int:shift_id>/": both(SHIFTS),
    "shifts/<int:shift_id>/end/": both(SHIFTS),
    "places/": {"GET": SEE},
    "places/rules/": both(PLACES),
    "places/hours/": both(PLACES),
    "places/hours/<int:hours_id>/": both(PLACES),
    "places/stations/": both(PLACES),
    "places/stations/<int:station_id>/": both(PLACES),
    "places/closures/": both(CLOSE),
    "places/closures/<int:closure_id>/": both(CLOSE),
    "imports/": both(IMPORT),
    "imports/blank/<str:file_name>": {"GET": SEE},
    "imports/<int:import_id>/": both(IMPORT),
    "week/": {"GET": SEE},
    "week/<str:name>/": {"GET": SEE_RESIDENTS},
    "week/<str:name>/build/": {"POST": PLAN},
    "rosters/<int:roster_id>/changes/": {"GET": SEE_RESIDENTS},
    "rosters/<int:roster_id>/progress/": {"GET": SEE},
    "rosters/<int:roster_id>/publish/": {"POST": PLAN},
    "day/": {"GET": SEE},
    "day/<str:text>/": {"GET": SEE_RESIDENTS},
    "sessions/<int:session_id>/move/": both(PLAN),
    "sessions/<int:session_id>/withdraw/": both(PLAN),
}

OTHERS: dict[str, dict[str, str]] = {
    "live": {"GET": PUBLIC},
    "ready": {"GET": PUBLIC},
    "": {"GET": SIGNED_IN},
    "problems/<slug:problem>": {"GET": PUBLIC},
    "start-building/": both(START),
    "start-building/blank.xlsx": {"GET": START},
    "start-building/<int:import_id>/": both(START),
}

PARTS = (matrix_of_the_day, matrix_of_reports, matrix_of_people)
for part in PARTS:
    API |= part.API
    PAGES_OF_A_BUILDING |= part.PAGES_OF_A_BUILDING
    OTHERS |= part.OTHERS

MATRIX: dict[str, dict[str, str]] = (
    {f"api/{path}": line for path, line in API.items()}
    | {f"buildings/<int:building_id>/{path}": line for path, line in PAGES_OF_A_BUILDING.items()}
    | OTHERS
)
# Rights that belong to no building: to have none of them is to be told so, not to find nothing.
EVERYWHERE = {START, "manage people"}

# Signing in is a library's, with its own tests; which of its pages there are is tested with ours (tests/program/web).
NOT_OURS = "account/"

# The row behind each part of an address; `pk` is of the noun that comes before it.
ROW_OF = {
    "building_id": "Building",
    "resident_id": "Resident",
    "hold_id": "Hold",
    "commitment_id": "Commitment",
    "shift_id": "Shift",
    "hours_id": "Hours",
    "station_id": "Station",
    "closure_id": "Closure",
    "import_id": "Import",
    "roster_id": "Roster",
    "session_id": "Session",
}
for part in PARTS:
    ROW_OF |= part.ROW_OF
WORD_OF = {
    "name": "2026-W49",
    "text": "2026-12-01",
    "file_name": "residents.csv",
    "problem": "too-soon",
    "token": "no-such-link",
    "kind": "week",
}


def body_of(path: str, there: Furnished) -> dict[str, Any]:
    """What a POST that makes something must send before anybody asks for the right: its place."""
    building, resident = there.house.building.pk, there.rows["Resident"].pk
    bodies: dict[str, Callable[[], dict[str, Any]]] = {
        "units/": lambda: {"building": building, "name": "East"},
        "hours/": lambda: {
            "building": building,
            "kind": "open",
            "weekday": 6,
            "starts_minute": 480,
            "ends_minute": 600,
        },
        "stations/": lambda: {
            "building": building,
            "name": "F",
            "exercise": "row",
            "position": 6,
            "load_unit": "kg",
            "load_step": "2.5",
        },
        "closures/": lambda: {
            "building": building,
            "station": there.rows["Station"].pk,
            "reason": "maintenance",
            "starts_at": "2026-12-20T10:00:00-05:00",
        },
        "shifts/": lambda: {
            "building": building,
            "user": there.house.aide.pk,
            "first_on": "2026-12-05",
            "starts_minute": 480,
            "ends_minute": 600,
        },
        "residents/": lambda: {
            "building": building,
            "unit": there.rows["Unit"].pk,
            "key": "NEW-1",
            "given_name": "New",
            "family_name": "Resident",
            "date_of_birth": "1940-01-01",
            "help_sixths": 2,
            "agreed_on": "2026-11-01",
            "agreed_by": "the resident",
        },
        "clearances/": lambda: {
            "residents": [resident],
            "given_by": "C. Example",
            "credential": "physician",
            "given_on": "2026-11-02",
            "until_on": "2027-11-01",
        },
        "holds/": lambda: {
            "resident": resident,
            "kind": "away",
            "reason": "leave",
            "starts_at": "2027-02-01T10:00:00-05:00",
        },
        "prescriptions/": lambda: {
            "resident": resident,
            "expected_number": 1,
            "sessions_a_week": 2,
            "lines": [{"station": there.rows["Station"].pk, "load": "20", "load_unit": "kg"}],
        },
        "commitments/": lambda: {
            "resident": resident,
            "kind": "therapy",
            "starts": "2026-12-08T10:00",
            "timezone": "America/New_York",
            "minutes": 30,
        },
        "pairings/": lambda: {
            "building": building,
            "kind": "apart",
            "first": resident,
            "second": there.rows["Third"].pk,
        },
        "rosters/": lambda: {"building": building, "week": "2026-W51"},
        "sessions/": lambda: {"resident": there.rows["Other"].pk, "starts_at": "2026-12-03T09:00:00-05:00"},
        "sessions/unplanned/": lambda: {
            "resident": resident,
            "starts_at": "2026-11-29T09:00:00-05:00",
            "ends_at": "2026-11-29T09:30:00-05:00",
            "lines": [{"kind": "started", "happened_at": "2026-11-29T09:00:00-05:00", "event_id": str(uuid4())}],
        },
        "sessions/<int:pk>/move-to-resident/": lambda: {
            "session": there.rows["Session"].pk,
            "because": "the wrong person",
        },
    }
    bodies |= {path: (lambda make=make: make(there)) for part in PARTS for path, make in part.BODIES.items()}
    return bodies.get(path.removeprefix("api/"), dict)()
