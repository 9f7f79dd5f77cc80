"""The queue of the day: at the stations, next, done; late first, where from, what was tried; and its empty states."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from program import clock
from program.actions.incidents import report_warning_sign, see_incident
from program.actions.places import close
from program.actions.records import NewLine, write_lines
from program.actions.starting import start_session
from program.models import Role
from tests import factories
from tests.conftest import MONDAY
from tests.program.actions.arranging import a_set, train
from tests.program.api.arranging import at, booked
from tests.program.pages.words import chips, words

NINE = 9 * 60


@pytest.fixture
def address(arrowfen):
    return reverse("scheduling:now", args=[arrowfen.building.pk])


@pytest.fixture
def staff(arrowfen, client_of):
    return client_of(arrowfen.aide)


@pytest.fixture
def on_duty(arrowfen):
    day = MONDAY.astimezone(arrowfen.building.zone).date()
    return factories.on_the_circuit(arrowfen.building, arrowfen.aide, day, 8 * 60, 17 * 60)


def write(house, session, kind, **more):
    line = NewLine(kind=kind, happened_at=clock.now(), event_id=uuid4(), **more)
    write_lines(session=session, lines=[line], done_by=house.aide, entered_by=house.aide)


def started(house, session):
    with clock.at(session.starts_at):
        start_session(session=session, event_id=uuid4(), identified_by="date of birth", by=house.aide)


def rows(response, name):
    return [one.session.resident.family_name for one in response.context[name]]


def test_staff_land_on_it_and_a_coordinator_on_the_week(arrowfen, client_of, address):
    home = reverse("program:building", args=[arrowfen.building.pk])
    week = reverse("scheduling:week-now", args=[arrowfen.building.pk])
    assert client_of(arrowfen.aide).get("/", follow=True).redirect_chain == [(home, 302), (address, 302)]
    assert client_of(arrowfen.coordinator).get(home).url == week

    # Whoever is both works at the desk too.
    Role.objects.create(user=arrowfen.aide, kind="coordinator", building=arrowfen.building, since=factories.LONG_AGO)
    assert client_of(arrowfen.aide).get(home).url == week


def test_the_heading_is_the_day_and_the_clock_of_the_building(arrowfen, staff, on_duty, address):
    with clock.at(at(arrowfen, 0, NINE + 12)):
        shown = words(staff.get(address))

    assert "Mon 30 Nov, 09:12 On the circuit: " + arrowfen.aide.name in shown


def test_who_is_at_the_stations_by_the_plan_and_how_far(arrowfen, staff, on_duty, address):
    session = booked(arrowfen, arrowfen.resident(family_name="Quillmoor"), at(arrowfen, 0, NINE))
    started(arrowfen, session)
    with clock.at(session.starts_at + timedelta(minutes=8)):
        done = a_set(arrowfen, session.starts_at + timedelta(minutes=2))
        write_lines(session=session, sets=[done], done_by=arrowfen.aide, entered_by=arrowfen.aide)
        shown = staff.get(address)

    assert "B by plan, since 09:00 1 of 5 sets done" in words(shown)
    assert (rows(shown, "here"), rows(shown, "coming")) == (["Quillmoor"], [])
    assert f'href="{reverse("program:session", args=[arrowfen.building.pk, session.pk])}"' in shown.content.decode()


def test_whoever_began_late_goes_on_in_the_order_of_the_plan(arrowfen, staff, on_duty, address):
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, NINE))
    with clock.at(session.starts_at + timedelta(minutes=20)):
        start_session(session=session, event_id=uuid4(), identified_by="date of birth", by=arrowfen.aide)
    with clock.at(session.starts_at + timedelta(minutes=27)):
        assert "B by plan, since 09:20" in words(staff.get(address))


def test_next_come_the_late_ones_first_then_by_time_with_where_to_fetch_them(arrowfen, staff, on_duty, address):
    for minute, name in ((NINE + 60, "Later"), (NINE, "Late"), (NINE + 90, "Last")):
        fetched = {"escort_people": 2, "escort_minutes": 10, "room": "12"} if name != "Last" else {"room": "7"}
        booked(arrowfen, arrowfen.resident(family_name=name, **fetched), at(arrowfen, 0, minute))
    with clock.at(at(arrowfen, 0, NINE + 31)):
        shown = staff.get(address)

    assert rows(shown, "coming") == ["Late", "Later", "Last"]
    assert chips(shown) == ["Late: planned 09:00"]
    unit = arrowfen.unit.name
    assert [one.way for one in shown.context["coming"]] == [
        f"Fetch 08:50 from {unit}, room 12, two people",
        f"Fetch 09:50 from {unit}, room 12, two people",
        f"{unit}, room 7, comes alone",
    ]


def test_a_session_within_its_grace_is_not_late(arrowfen, staff, on_duty, address):
    booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, NINE))
    with clock.at(at(arrowfen, 0, NINE + 30)):
        assert chips(staff.get(address)) == []


def test_a_session_that_was_overtaken_says_from_when_it_is_possible(arrowfen, staff, on_duty, address):
    resident = arrowfen.resident()
    first = booked(arrowfen, resident, at(arrowfen, -3, NINE + 60))
    later = booked(arrowfen, resident, at(arrowfen, 0, NINE))
    with clock.at(at(arrowfen, -1, NINE + 5)):
        train(arrowfen, first, started_at=at(arrowfen, -2, NINE - 30), ended_at=at(arrowfen, -2, NINE + 34))
    with clock.at(later.starts_at):
        assert chips(staff.get(address)) == ["Mon 09:00 is 34 min too early: possible from 09:34"]


def test_what_was_tried_is_said_and_the_session_stays(arrowfen, staff, on_duty, address):
    session = booked(arrowfen, arrowfen.resident(family_name="Tired"), at(arrowfen, 0, NINE))
    with clock.at(session.starts_at):
        write(arrowfen, session, "attempt", reason="asleep")
        shown = staff.get(address)

    assert rows(shown, "coming") == ["Tired"]
    assert "tried: asleep" in words(shown)


def test_a_warning_sign_that_nobody_has_seen_stands_above_everything(arrowfen, staff, on_duty, address, see_all):
    session = booked(arrowfen, arrowfen.resident(given_name="Rose", family_name="Oak"), at(arrowfen, 0, NINE))
    who = {"done_by": arrowfen.aide, "entered_by": arrowfen.aide}
    with clock.at(session.starts_at):
        incident = report_warning_sign(session=session, sign="pallor", event_id=uuid4(), happened_at=clock.now(), **who)
        said = "Rose Oak: pallor Mon 09:00. NOT SEEN YET by a clinician: call the nurse now."
        assert said in words(staff.get(address))

        see_all()
        see_incident(incident=incident, by=arrowfen.clinician)
        assert said not in words(staff.get(address))


def test_what_is_over_is_folded_with_its_count(arrowfen, client_of, on_duty, address):
    done = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, NINE))
    left = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, NINE + 60))
    with clock.at(at(arrowfen, 0, NINE + 90)):
        train(arrowfen, done, ended_at=done.ends_at)
        write(arrowfen, done, "ended")
        write(arrowfen, left, "given up", reason="declined")
        shown = words(client_of(arrowfen.aide).get(address))

    assert "Nobody else comes today" in shown
    assert "Done today: 1 09:00" in shown
    assert "Not done today: 1 10:00" in shown
    assert "Given up declined" in shown


@pytest.mark.parametrize(("day", "sentence"), [(0, "Nothing is planned today"), (6, "The circuit is not open today")])
def test_a_day_without_sessions_says_why(arrowfen, client_of, address, day, sentence):
    with clock.at(at(arrowfen, day, NINE)):
        assert sentence in words(client_of(arrowfen.aide).get(address))


def test_a_closed_building_says_so_with_the_reason(arrowfen, staff, on_duty, address):
    close(building=arrowfen.building, reason="outbreak", starts_at=MONDAY, by=arrowfen.coordinator)
    with clock.at(at(arrowfen, 0, NINE)):
        shown = words(staff.get(address))

    assert "The whole building: outbreak, from Mon 30 Nov 06:00 until it is opened again." in shown


def test_nobody_on_duty_is_said_while_the_circuit_is_open(arrowfen, staff, address):
    said = "By the shifts nobody is on the circuit now."
    with clock.at(at(arrowfen, 0, NINE)):
        assert said in words(staff.get(address))
    with clock.at(at(arrowfen, 0, 7 * 60)):
        assert said not in words(staff.get(address))


def test_sessions_of_other_days_and_of_other_buildings_do_not_show(arrowfen, brindlewharf, staff, on_duty, address):
    booked(arrowfen, arrowfen.resident(family_name="Tomorrow"), at(arrowfen, 1, NINE))
    booked(brindlewharf, brindlewharf.resident(family_name="Elsewhere"), at(brindlewharf, 0, NINE))
    shown = staff.get(address)

    assert (rows(shown, "coming"), "Elsewhere" in words(shown)) == ([], False)
    assert staff.get(reverse("scheduling:now", args=[brindlewharf.building.pk])).status_code == 404


@pytest.mark.parametrize("count", [3, 30])
def test_it_takes_the_same_number_of_queries_at_any_length(arrowfen, staff, on_duty, address, queries, count):
    for place in range(count):
        booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 8 * 60 + place * 6), stations=1)

    assert queries(staff, address) == 16
