"""A list costs the same at three rows and at thirty."""

from datetime import timedelta

import pytest
from django.test.utils import CaptureQueriesContext
from django.db import connection

from program import clock
from program.actions import calendars, imports, pairings, places, safety
from program.models import Prescription
from scheduling.actions import start_roster
from program.rules.week import Week
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import at, booked, one_line, one_set
from tests.program.api.asking import Api


def residents(house: House, count: int) -> list:
    return [house.resident() for _ in range(count)]


def make_buildings(house: House, count: int) -> None:
    for _ in range(count - 1):
        building = factories.BuildingFactory(region=house.building.region)
        factories.Role.objects.create(
            user=house.coordinator, kind="coordinator", building=building, since=factories.LONG_AGO
        )


def make_units(house: House, count: int) -> None:
    for _ in range(count - 1):
        factories.UnitFactory(building=house.building)


def make_stations(house: House, count: int) -> None:
    for _ in range(count - 5):
        factories.StationFactory(building=house.building)


def make_closures(house: House, count: int) -> None:
    for _ in range(count):
        places.close(building=house.building, reason="holiday", starts_at=clock.now(), by=house.coordinator)


def make_people(house: House, count: int) -> None:
    for _ in range(count):
        factories.with_role(house.building, "staff")


def make_shifts(house: House, count: int) -> None:
    for _ in range(count):
        factories.on_the_circuit(house.building, factories.with_role(house.building, "staff"), at(house, 0, 0).date(), 500, 600)


def make_holds(house: House, count: int) -> None:
    for resident in residents(house, count):
        safety.set_hold(
            resident=resident, kind="clinical", reason="dizzy", starts_at=clock.now(), by=house.coordinator
        )


def make_commitments(house: House, count: int) -> None:
    for resident in residents(house, count):
        calendars.add_commitment(
            resident=resident,
            kind="bathing",
            starts="2026-12-01T09:00",
            timezone=house.building.timezone,
            minutes=30,
            by=house.coordinator,
        )


def make_pairings(house: House, count: int) -> None:
    first, *others = residents(house, count + 1)
    for second in others:
        pairings.pair(building=house.building, kind="apart", first=first, second=second)


def make_sessions(house: House, count: int) -> None:
    for place, resident in enumerate(residents(house, count)):
        session = booked(house, resident, at(house, place // 15, 480 + (place % 15) * 30), stations=4)
        with clock.at(session.starts_at + timedelta(minutes=10)):
            sent = {
                "lines": [one_line("started", session.starts_at)],
                "sets": [one_set(house, session.starts_at + timedelta(minutes=6))],
            }
            assert Api(house.aide).post(f"sessions/{session.pk}/records/", sent).status_code == 200


def make_imports(house: House, count: int) -> None:
    file = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//test//EN\r\nEND:VCALENDAR\r\n"
    for _ in range(count):
        imports.judge_file(
            kind="calendars", content=file, file_name="a.ics", by=house.coordinator, building=house.building
        )


def make_rosters(house: House, count: int) -> None:
    for _ in range(count):
        start_roster(building=house.building, week=Week.named("2026-W49"), by=house.coordinator)


# Eleven are the same for every list: sign-in and roles 4, scope 2, savepoint 2, and one each for the list, the
# session's end and the line of the trail; where fewer, nothing of residents is shown.
LISTS = [
    ("buildings/", make_buildings),
    ("units/", make_units),
    ("hours/", lambda house, count: None),
    ("stations/", make_stations),
    ("closures/", make_closures),
    ("people/", make_people),
    ("shifts/", make_shifts),
    ("residents/", residents),
    ("clearances/", residents),
    ("prescriptions/", residents),
    ("holds/", make_holds),
    ("commitments/", make_commitments),
    ("commitment-times/", make_commitments),
    ("pairings/", make_pairings),
    ("sessions/", make_sessions),
    ("records/", make_sessions),
    ("sets/", make_sessions),
    ("imports/", make_imports),
    ("audit/", make_closures),
    ("rosters/", make_rosters),
]


@pytest.mark.parametrize("count", [3, 30])
@pytest.mark.parametrize(("path", "make"), LISTS, ids=[path for path, _ in LISTS])
def test_a_list_costs_the_same_at_any_length(arrowfen: House, path: str, make, count: int) -> None:
    make(arrowfen, count)
    api = Api(arrowfen.coordinator)
    api.get(path)
    with CaptureQueriesContext(connection, ) as queries:
        answer = api.client.get(f"/api/{path}", {"limit": 200})
    print("COUNT", path, count, len(queries), len(answer.json()["results"]))
    assert answer.status_code == 200
