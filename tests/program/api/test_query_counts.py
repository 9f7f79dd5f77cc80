"""A list costs the same at three rows and at thirty."""

from datetime import timedelta
from uuid import uuid4

import pytest

from program import clock
from program.actions import calendars, imports, incidents, pairings, places, safety
from program.rules.week import Week
from reports.actions import ask_for_reports
from reports.periods import Period
from scheduling.actions import refresh_flags, start_roster
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import at, booked, one_line, one_set
from tests.program.api.asking import Api
from tests.program.api.walking import addresses


def residents(house: House, count: int) -> list:
    return [house.resident() for _ in range(count)]


def make_buildings(house: House, count: int) -> None:
    for _ in range(count - 1):
        building = factories.BuildingFactory(region=house.building.region)
        factories.Role.objects.create(
            user=house.coordinator, kind="coordinator", building=building, since=factories.LONG_AGO
        )


def make_nothing(house: House, count: int) -> None:
    """A house is open six days and eats on seven: 13 periods."""


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
        person = factories.with_role(house.building, "staff")
        factories.on_the_circuit(house.building, person, at(house, 0, 0).date(), 500, 600)


def make_holds(house: House, count: int) -> None:
    for resident in residents(house, count):
        safety.set_hold(resident=resident, kind="clinical", reason="dizzy", starts_at=clock.now(), by=house.coordinator)


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


def make_incidents(house: House, count: int) -> None:
    for place, resident in enumerate(residents(house, count)):
        session = booked(house, resident, at(house, place // 15, 480 + (place % 15) * 30), stations=4)
        with clock.at(session.starts_at + timedelta(minutes=10)):
            incidents.report_warning_sign(
                session=session,
                sign="dizziness",
                event_id=uuid4(),
                happened_at=session.starts_at,
                done_by=house.aide,
                entered_by=house.aide,
            )


def make_imports(house: House, count: int) -> None:
    file = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//test//EN\r\nEND:VCALENDAR\r\n"
    for _ in range(count):
        imports.judge_file(
            kind="calendars", content=file, file_name="a.ics", by=house.coordinator, building=house.building
        )


def make_rosters(house: House, count: int) -> None:
    for _ in range(count):
        start_roster(building=house.building, week=Week.named("2026-W49"), by=house.coordinator)


def make_flags(house: House, count: int) -> None:
    residents(house, count)
    refresh_flags(building_ids=[house.building.pk])


def make_reports(house: House, count: int) -> None:
    for _ in range(count):
        ask_for_reports(by=house.coordinator, buildings=[house.building], period=Period.named("week", "2026-W48"))


# Ten for the sign-in, the roles, the scope, the savepoints and the list itself; one more for the line of the trail
# where residents are shown; what is more is read beside the list: lines of plans, slots, names of stations left out.
LISTS = [
    ("buildings/", 10, make_buildings),
    ("units/", 10, make_units),
    ("hours/", 10, make_nothing),
    ("stations/", 10, make_stations),
    ("closures/", 10, make_closures),
    ("people/", 10, make_people),
    ("shifts/", 10, make_shifts),
    ("residents/", 11, residents),
    ("clearances/", 11, residents),
    ("prescriptions/", 12, residents),
    ("holds/", 11, make_holds),
    ("incidents/", 11, make_incidents),
    ("commitments/", 11, make_commitments),
    ("commitment-times/", 11, make_commitments),
    ("pairings/", 11, make_pairings),
    ("sessions/", 13, make_sessions),
    ("records/", 11, make_sessions),
    ("sets/", 11, make_sessions),
    ("imports/", 10, make_imports),
    ("audit/", 12, make_closures),
    ("rosters/", 10, make_rosters),
    ("flags/", 11, make_flags),
    ("reports/", 11, make_reports),
    ("report-runs/", 12, make_reports),
]


@pytest.mark.parametrize("count", [3, 30])
@pytest.mark.parametrize(("path", "queries", "make"), LISTS, ids=[path for path, _, _ in LISTS])
def test_a_list_costs_the_same_at_any_length(
    arrowfen: House, django_assert_num_queries, path: str, queries: int, make, count: int
) -> None:
    make(arrowfen, count)
    api = Api(arrowfen.coordinator)
    with django_assert_num_queries(queries):
        answer = api.client.get(f"/api/{path}", {"limit": 200})

    assert answer.status_code == 200
    assert len(answer.json()["results"]) >= (count if path != "hours/" else 13)


def test_every_list_is_counted() -> None:
    lists = {address.removeprefix("api/") for address, _, methods in addresses() if methods.get("get") == "list"}

    assert {path for path, _, _ in LISTS} == lists
