"""Buildings and what belongs to them: units, hours, stations, closures."""

from datetime import datetime
from typing import Any

from django.db import transaction

from program import clock
from program.actions.changing import change, make, only
from program.actions.commitment_times import remake_times
from program.models import Building, Closure, Hours, Station, Unit, User
from program.rules.errors import Invalid
from program.rules.opening import Period

STATION_FIELDS = {"name", "exercise", "position", "load_unit", "load_step", "lightest", "heaviest"}
BUILDING_FIELDS = {
    "rest_after_meal_minutes",
    "margin_minutes",
    "grace_minutes",
    "overdue_hours",
    "buffer_turns",
    "max_wait_turns",
    "skips_closed_stations",
}


def openings_of(building: Building) -> list[Period]:
    """The weekly opening periods of a building."""
    return Hours.objects.of(building).openings()


@transaction.atomic
def change_building(*, building: Building, version: int | None = None, **fields: Any) -> Building:
    """Change the rules a building runs by; what is published stays until somebody moves it."""
    margin_minutes = building.margin_minutes
    building = change(building, version=version, **only(BUILDING_FIELDS, fields))
    if building.margin_minutes != margin_minutes:
        remake_times(building=building)
    return building


@transaction.atomic
def add_unit(*, building: Building, name: str) -> Unit:
    return make(Unit(building=building, name=name))


@transaction.atomic
def add_hours(
    *,
    building: Building,
    kind: str,
    weekday: int,
    starts_minute: int,
    ends_minute: int,
    name: str = "",
    unit: Unit | None = None,
) -> Hours:
    return make(
        Hours(
            building=building,
            kind=kind,
            weekday=weekday,
            starts_minute=starts_minute,
            ends_minute=ends_minute,
            name=name,
            unit=unit,
        )
    )


@transaction.atomic
def remove_hours(*, hours: Hours) -> None:
    hours.delete()


@transaction.atomic
def add_station(*, building: Building, **fields: Any) -> Station:
    return make(Station(building=building, **only(STATION_FIELDS, fields)))


@transaction.atomic
def change_station(*, station: Station, version: int | None = None, **fields: Any) -> Station:
    return change(station, version=version, **only(STATION_FIELDS, fields))


@transaction.atomic
def close(
    *,
    building: Building,
    reason: str,
    starts_at: datetime,
    by: User,
    ends_at: datetime | None = None,
    unit: Unit | None = None,
    station: Station | None = None,
    note: str = "",
) -> Closure:
    """Close the building, a unit or a station; sessions that this touches stay published and show it."""
    return make(
        Closure(
            building=building,
            unit=unit,
            station=station,
            reason=reason,
            note=note,
            starts_at=starts_at,
            ends_at=ends_at,
            entered_by=by,
            entered_at=clock.now(),
        )
    )


@transaction.atomic
def end_closure(*, closure: Closure, ends_at: datetime | None = None, version: int | None = None) -> Closure:
    """Open again, now or at `ends_at`."""
    ends_at = ends_at or clock.now()
    if ends_at <= closure.starts_at:
        raise Invalid("A closure must end after it starts.", field="ends_at")
    return change(closure, version=version, ends_at=ends_at)
