"""The smallest valid rows, made as the service's own role inside a scope."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import factory

from program.models import (
    Building,
    Clearance,
    Hours,
    Person,
    Prescription,
    PrescriptionLine,
    Region,
    Resident,
    Role,
    Shift,
    ShiftTime,
    Station,
    Unit,
    User,
)
from program.rules.week import local_instant

LONG_AGO = datetime(2026, 1, 1, tzinfo=UTC)
FAR_AHEAD = date(2027, 12, 31)


class RegionFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Region

    name = factory.Sequence(lambda n: f"Region {n}")


class BuildingFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Building

    region = factory.SubFactory(RegionFactory)
    name = factory.Sequence(lambda n: f"House {n}")
    timezone = "America/New_York"


class UserFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = User

    username = factory.Sequence(lambda n: f"person{n}")
    name = factory.Sequence(lambda n: f"Person {n}")
    password = "!"  # nobody signs in with it: tests sign in by force


class UnitFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Unit

    name = factory.Sequence(lambda n: f"Unit {n}")


class StationFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Station

    name = factory.Sequence(lambda n: f"Station {n}")
    exercise = "leg press"
    position = 1
    load_unit = "kg"
    load_step = Decimal("2.5")


class PersonFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Person


class ResidentFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Resident

    person = factory.SubFactory(PersonFactory)
    key = factory.Sequence(lambda n: f"K{n}")
    given_name = factory.Sequence(lambda n: f"Given{n}")
    family_name = factory.Sequence(lambda n: f"Family{n}")
    date_of_birth = date(1940, 5, 17)
    since = LONG_AGO
    enrolled_at = LONG_AGO
    help_sixths = 2
    agreed_on = date(2026, 1, 1)
    agreed_by = "the resident"


class ClearanceFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Clearance

    given_by = "C. Example"
    credential = "physician"
    given_on = date(2026, 1, 1)
    until_on = FAR_AHEAD
    entered_at = LONG_AGO


class PrescriptionFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Prescription

    number = 1
    sessions_a_week = 2
    entered_at = LONG_AGO


class PrescriptionLineFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = PrescriptionLine

    exercise = "leg press"
    load = Decimal(20)
    load_unit = "kg"
    load_kg = Decimal(20)


def with_role(building: Building | None, kind: str, *, region: Region | None = None, name: str | None = None) -> User:
    """A person who has held a role since long ago."""
    user = UserFactory(**({"name": name} if name else {}))
    Role.objects.create(user=user, kind=kind, building=building, region=region, since=LONG_AGO)
    return user


def open_hours(building: Building, *, weekdays: range = range(6), opens: int = 8 * 60, closes: int = 17 * 60) -> None:
    for weekday in weekdays:
        Hours.objects.create(building=building, kind="open", weekday=weekday, starts_minute=opens, ends_minute=closes)


def meal(building: Building, *, name: str = "lunch", starts: int = 12 * 60, ends: int = 13 * 60) -> None:
    for weekday in range(7):
        Hours.objects.create(
            building=building, kind="meal", name=name, weekday=weekday, starts_minute=starts, ends_minute=ends
        )


def enrolled(building: Building, unit: Unit, stations: list[Station], *, by: User, **fields: object) -> Resident:
    """A resident who may train: agreement, clearance and an exercise plan over the stations, one turn each."""
    sessions_a_week = fields.pop("sessions_a_week", 2)
    resident = ResidentFactory(building=building, unit=unit, **fields)
    ClearanceFactory(building=building, resident=resident, entered_by=by)
    plan = PrescriptionFactory(building=building, resident=resident, entered_by=by, sessions_a_week=sessions_a_week)
    for position, station in enumerate(stations):
        PrescriptionLineFactory(
            building=building, prescription=plan, station=station, position=position, exercise=station.exercise
        )
    return resident


def on_the_circuit(building: Building, user: User, day: date, starts: int, ends: int) -> ShiftTime:
    """A person on the circuit on one day, from-until in minutes after local midnight."""
    shift = Shift.objects.create(
        building=building,
        user=user,
        first_on=day,
        last_on=day,
        starts_minute=starts,
        ends_minute=ends,
        made_until=day + timedelta(days=1),
    )
    return ShiftTime.objects.create(
        building=building,
        shift=shift,
        user=user,
        starts_at=local_instant(day, starts, building.zone),
        ends_at=local_instant(day, ends, building.zone),
    )
