"""A building from its workbook: all of it, or nothing."""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection

from program import clock
from program.actions.changing import make
from program.actions.imports.judged import NEW, Judged, Row, unfit_fields
from program.actions.imports.usernames import username_for
from program.actions.places import add_hours, add_station, add_unit
from program.actions.refusing import refusing_what_the_database_refuses
from program.actions.shifts import add_shift
from program.importing.building import judge_building
from program.importing.building_facts import BuildingFile
from program.importing.tables import read_sheets
from program.models import Building, Hours, Import, Region, Role, Station, User
from program.rules.errors import Refused
from program.rules.week import local_instant

SETTINGS = (
    *("name", "timezone", "turn_minutes", "rest_after_meal_minutes", "margin_minutes", "grace_minutes"),
    *("overdue_hours", "buffer_turns", "max_wait_turns"),
)
# What a meal is called by the minute it begins before; the workbook gives only the times.
MEALS = ((10 * 60 + 30, "breakfast"), (15 * 60, "lunch"), (24 * 60, "supper"))


def judge(content: bytes, file_name: str) -> Judged:
    """Raises Unreadable. Everything in it is new, except people who sign in here already."""
    read, judged = judge_building(read_sheets(content, file_name)), Judged()
    for refusal in read.refusals:
        judged.refuse(refusal.line, refusal.field, refusal.sentence, refusal.sheet)
    if read.building is not None:
        judged.rows = list(_rows(read.building))
        _refuse_what_does_not_fit(judged)
    return judged


def apply(imported: Import, *, by: User) -> Building:
    """Region (where missing), building, units, hours, meals, stations, people with their roles, and weekly shifts."""
    if imported.refusals:
        raise Refused(
            "This workbook has lines that were refused. Correct them and send it again.", problem="refused-rows"
        )
    rows: dict[str, list[Row]] = {}
    for row in imported.rows:
        rows.setdefault(row["sheet"], []).append(row["values"])
    building = _building(rows["Building"][0])
    _see_also(building)
    units = {row["name"].casefold(): add_unit(building=building, name=row["name"]) for row in rows["Units"]}
    for row in rows["Opening hours"]:
        add_hours(building=building, kind=Hours.Kind.OPEN, **row)
    for row in rows.get("Meals", []):
        unit = units.get(row.pop("unit").casefold())
        name = next(name for before, name in MEALS if row["starts_minute"] < before)
        add_hours(building=building, kind=Hours.Kind.MEAL, name=name, unit=unit, **row)
    for row in rows["Stations"]:
        loads = {name: Decimal(row.pop(name)) for name in ("load_step", "lightest", "heaviest")}
        add_station(building=building, **row, **loads)
    people = {row["email"]: _person(row, building) for row in rows.get("People", [])}
    for row in rows.get("Shifts", []):
        _shift(row, people[row["email"]], building, by)
    return building


def _rows(file: BuildingFile) -> Iterator[Row]:
    """The lines of all sheets in the words of the tables. Which line was which is no longer known: all were sound."""
    settings = file.settings
    values = {name: getattr(settings, name) for name in SETTINGS}
    values |= {"skips_closed_stations": settings.skip_closed_stations, "region": settings.region}
    yield _new("Building", settings.name, values)
    for unit in file.units:
        yield _new("Units", unit, {"name": unit})
    for period in file.opening_hours:
        opens = {"weekday": period.weekday - 1, **_minutes(period.starts, period.ends)}
        yield _new("Opening hours", _spoken(period.starts, period.ends), opens)
    for meal in file.meals:
        for weekday in range(7) if meal.weekday is None else [meal.weekday - 1]:
            takes_place = {"weekday": weekday, **_minutes(meal.starts, meal.ends), "unit": meal.unit}
            yield _new("Meals", _spoken(meal.starts, meal.ends), takes_place)
    for position, station in enumerate(file.stations, start=1):
        loads = {name: f"{getattr(station, name):f}" for name in ("load_step", "lightest", "heaviest")}
        said = {"name": station.name, "exercise": station.exercise, "load_unit": station.load_unit}
        yield _new("Stations", station.name, said | {"position": position} | loads)
    yield from _people(file)


def _people(file: BuildingFile) -> Iterator[Row]:
    known = set(User.objects.filter(email__in=[person.email for person in file.people]).values_list("email", flat=True))
    for person in file.people:
        held = {"role": person.role, "from_on": _iso(person.from_on), "until_on": _iso(person.until_on)}
        row = _new("People", person.name, {"name": person.name, "email": person.email, **held})
        if person.email in known:
            row |= {"what": "changed", "changes": [{"field": "role", "was": None, "becomes": person.role}]}
        yield row
    for shift in file.shifts:
        weekly = {"weekday": shift.weekday - 1, **_minutes(shift.starts, shift.ends), "from_on": _iso(shift.from_on)}
        yield _new("Shifts", shift.email, {"email": shift.email, **weekly})


def _new(sheet: str, name: str, values: dict[str, Any]) -> Row:
    return {"line": 0, "what": NEW, "changes": [], "sheet": sheet, "name": name, "values": values}


def _refuse_what_does_not_fit(judged: Judged) -> None:
    seen: set[str] = set()
    for row in judged.rows:
        values = row["values"]
        if row["sheet"] == "Building" and Building.objects.filter(name__iexact=values["name"]).exists():
            judged.refuse(0, "name", "There is a building of that name. Choose another.", "Building")
        if row["sheet"] != "Stations":
            continue
        for name, sentence in unfit_fields(Station(**values), *values).items():
            judged.refuse(0, name, f"{values['name'][:40]}: {sentence}", "Stations")
        if values["name"].casefold() in seen:
            sentence = (
                f"{values['name']} has two lines. Keep one; what else is done there stands in each exercise plan."
            )
            judged.refuse(0, "name", sentence, "Stations")
        seen.add(values["name"].casefold())


def _building(values: Row) -> Building:
    region = Region.objects.filter(name__iexact=values["region"]).first() or make(Region(name=values["region"]))
    with refusing_what_the_database_refuses():
        return make(Building(**(values | {"region": region})))


def _see_also(building: Building) -> None:
    """Until the transaction ends the rows of the new building show too: otherwise it could not be filled."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config('app.buildings', array_append(coalesce(NULLIF("
            "current_setting('app.buildings', true), ''), '{}')::bigint[], %s)::text, true)",
            [building.pk],
        )


def _person(values: Row, building: Building) -> User:
    user = User.objects.filter(email__iexact=values["email"]).first()
    if user is None:
        # Without a password nobody can sign in by it: the person sets one by a link.
        username = username_for(name=values["name"], email=values["email"])
        user = User.objects.create_user(username=username, name=values["name"], email=values["email"])
    since, until = _midnight(values["from_on"], building), None
    if values["until_on"]:
        until = local_instant(date.fromisoformat(values["until_on"]) + timedelta(days=1), 0, building.zone)
    with refusing_what_the_database_refuses(whose=values["name"]):
        make(Role(user=user, kind=values["role"], building=building, since=since or clock.now(), until=until))
    return user


def _shift(values: Row, user: User, building: Building, by: User) -> None:
    today = clock.now().astimezone(building.zone).date()
    first_on = date.fromisoformat(values["from_on"]) if values["from_on"] else today
    add_shift(
        building=building,
        user=user,
        first_on=first_on + timedelta(days=(values["weekday"] - first_on.weekday()) % 7),
        starts_minute=values["starts_minute"],
        ends_minute=values["ends_minute"],
        by=by,
    )


def _midnight(day: str | None, building: Building) -> datetime | None:
    return local_instant(date.fromisoformat(day), 0, building.zone) if day else None


def _minutes(starts: time, ends: time) -> dict[str, int]:
    return {"starts_minute": starts.hour * 60 + starts.minute, "ends_minute": ends.hour * 60 + ends.minute}


def _spoken(starts: time, ends: time) -> str:
    return f"{starts:%H:%M}-{ends:%H:%M}"


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
