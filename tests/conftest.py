"""The database as the service's own role sees it, and the cast: people of a house, and a stranger."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime

import pytest
from django.conf import settings
from django.db import connection, connections

from program import clock
from program.models import Building, Resident, Role, Station, Unit, User
from program.models.scoped import set_scope
from tests import factories

MONDAY = datetime(2026, 11, 30, 11, 0, tzinfo=UTC)


def _connect_as(user: str) -> None:
    default = connections["default"]
    default.close()
    if default.pool:
        default.close_pool()
    default.settings_dict["USER"] = user


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings: None) -> None:
    """The owner makes and migrates the test database."""
    _connect_as("service_owner")


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: "pytest.FixtureRequest") -> Iterator[None]:
    """All tests run as the role of the service: neither owner nor superuser, and row security forced."""
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        # For the tests that commit: their tables are emptied after them. The service itself may not.
        cursor.execute(f"GRANT TRUNCATE ON ALL TABLES IN SCHEMA public TO {settings.DATABASE_ROLE}")
        cursor.execute("ALTER TABLE program_audit DISABLE TRIGGER nobody_empties_the_trail")
    _connect_as(settings.DATABASE_ROLE)
    yield
    with django_db_blocker.unblock():
        _connect_as("service_owner")


@pytest.fixture(autouse=True)
def monday_morning() -> Iterator[None]:
    """Every test begins on Monday 30 November 2026, 06:00 in New York, unless it says otherwise."""
    with clock.at(MONDAY):
        yield


@dataclass
class House:
    """A building that runs: its circuit, its people, and a way to move in."""

    building: Building
    unit: Unit
    stations: list[Station]
    coordinator: User
    aide: User
    clinician: User
    residents: list[Resident] = field(default_factory=list)

    def resident(self, **fields: object) -> Resident:
        moved_in = factories.enrolled(self.building, self.unit, self.stations, by=self.coordinator, **fields)
        self.residents.append(moved_in)
        return moved_in


def build_house(name: str = "Arrowfen House", **fields: object) -> House:
    """“Arrowfen House” of the walk-throughs: open Mon-Sat 08:00-17:00, lunch at noon, five stations of one turn."""
    defaults = {"rest_after_meal_minutes": 30, "buffer_turns": 0, "overdue_hours": 120}
    building = factories.BuildingFactory(name=name, **(defaults | fields))
    set_scope([*Building.objects.values_list("pk", flat=True)], user_id=None)
    factories.open_hours(building)
    factories.meal(building)
    return House(
        building=building,
        unit=factories.UnitFactory(building=building),
        stations=[
            factories.StationFactory(building=building, name=letter, position=position)
            for position, letter in enumerate("ABCDE")
        ],
        coordinator=factories.with_role(building, Role.Kind.COORDINATOR),
        aide=factories.with_role(building, Role.Kind.STAFF),
        clinician=factories.with_role(building, Role.Kind.CLINICIAN),
    )


@pytest.fixture
def arrowfen(db: None) -> House:
    return build_house()


@pytest.fixture
def brindlewharf(arrowfen: House) -> House:
    """Another building, of which nobody at Arrowfen may know anything."""
    return build_house("Brindlewharf")


@pytest.fixture
def stranger(brindlewharf: House) -> User:
    return brindlewharf.coordinator


@pytest.fixture
def at() -> Callable[[datetime], object]:
    return clock.at
