"""An invented building as the workbook that a real one would be started from."""

import io
from collections.abc import Sequence
from datetime import date, timedelta

import xlsxwriter

from scheduling.scenario.buildings import BuildingPlan, Weekly
from scheduling.scenario.names import full_names

# People have worked here for a while before the service came.
WORKING_SINCE = timedelta(days=200)
Rows = list[list[str]]


def building_workbook(plan: BuildingPlan, *, first_on: date) -> bytes:
    """All sheets of the workbook, with shifts from `first_on`."""
    people = people_of(plan)
    since = (first_on - WORKING_SINCE).isoformat()
    aides = [email for _, email, role in people if role == "staff"]
    sheets: dict[str, Rows] = {
        "Building": [["setting", "value"], *_settings(plan)],
        "Units": [["unit"], *([unit] for unit in plan.units)],
        "Opening hours": [["weekday", "opens", "closes"], *_weekly(plan.open)],
        "Meals": [
            ["weekday", "starts", "ends", "unit"],
            *([*row, meal.unit] for meal in plan.meals for row in _weekly([meal])),
        ],
        "Stations": [
            ["name", "exercise", "load_unit", "load_step", "lightest", "heaviest"],
            *(
                [one.name, one.exercise, one.load_unit, f"{one.load_step:f}", "0", f"{one.heaviest:f}"]
                for one in plan.stations
            ),
        ],
        "People": [["name", "email", "role", "from"], *([*person, since] for person in people)],
        "Shifts": [
            ["person", "weekday", "starts", "ends", "from"],
            *(
                [email, *row, first_on.isoformat()]
                for email, shifts in zip(aides, plan.crew, strict=True)
                for row in _weekly(shifts)
            ),
        ],
    }
    return _written(sheets)


def people_of(plan: BuildingPlan) -> list[tuple[str, str, str]]:
    """Name, address and role of everybody who works in the building."""
    names = full_names(plan.dice("people"))
    aides = [f"aide{number}" for number in range(1, len(plan.crew) + 1)]
    roles = [("coordinator", "coordinator"), ("clinician", "clinician"), *((aide, "staff") for aide in aides)]
    return [(" ".join(next(names)), f"{called}.{plan.short_name}@example.org", role) for called, role in roles]


def _settings(plan: BuildingPlan) -> Rows:
    settings = {"name": plan.name, "region": plan.region, "timezone": plan.timezone, **plan.settings}
    return [[name, value] for name, value in settings.items()]


def _weekly(periods: Sequence[Weekly]) -> Rows:
    return [[weekday, period.starts, period.ends] for period in periods for weekday in period.weekdays]


def _written(sheets: dict[str, Rows]) -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True, "strings_to_urls": False}) as workbook:
        for name, rows in sheets.items():
            sheet = workbook.add_worksheet(name)
            for number, row in enumerate(rows):
                for position, cell in enumerate(row):
                    sheet.write_string(number, position, cell)
    return content.getvalue()
