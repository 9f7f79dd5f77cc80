"""Buildings and what belongs to them: units, hours, stations, closures."""

from datetime import datetime
from typing import Any

from django.db import transaction

from program import clock
from program.actions.changing import change, make, only
from program.actions.commitment_times import remake_times
from program.actions.leaving_out import go_on_without
from program.actions.locks import lock_plan
from program.models import Building, Closure, Hours, Session, Station, Unit, User
from program.rules.errors import Invalid
from program.rules.opening import Period, day_closes_at

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
    hours = make(
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
    _close_days_anew(building)
    return hours


@transaction.atomic
def remove_hours(*, hours: Hours) -> None:
    hours.delete()
    _close_days_anew(hours.building)


def _close_days_anew(building: Building) -> None:
    """The days of the sessions to come close when the building now does."""
    lock_plan(building=building)
    openings, changed = openings_of(building), []
    for session in Session.objects.of(building).on_the_plan().filter(day_closes_at__gt=clock.now()):
        closes_at = day_closes_at(openings, session.starts_at, building.zone)
        if closes_at != session.day_closes_at:
            session.day_closes_at, session.version = closes_at, session.version + 1
            changed.append(session)
    Session.objects.bulk_update(changed, ["day_closes_at", "version"])


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
    """Close the building, a unit or a station; sessions that this touches stay published and show it.

    Where the building goes on without a station out of order, they are left with the others.
    """
    closure = make(
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
    go_on_without(closure=closure)
    return closure


@transaction.atomic
def end_closure(*, closure: Closure, ends_at: datetime | None = None, version: int | None = None) -> Closure:
    """Open again, now or at `ends_at`; sessions that go on without a station do so until somebody moves them."""
    ends_at = ends_at or clock.now()
    if ends_at <= closure.starts_at:
        raise Invalid("A closure must end after it starts.", field="ends_at")
    closure = change(closure, version=version, ends_at=ends_at)
    # It may last longer than was said.
    go_on_without(closure=closure)
    return closure
