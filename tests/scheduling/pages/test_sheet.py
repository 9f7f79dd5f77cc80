"""The day on paper: first name and initial, time, room and boxes to tick, and nothing else of anybody."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from program.actions.records import NewLine, write_lines
from program.actions.sessions import withdraw_sessions
from program.models import Audit, Station
from tests.program.actions.arranging import booked, train
from tests.program.pages.words import words

MON = datetime(2026, 11, 30, 15, 0, tzinfo=UTC)
DAY = "2026-11-30"


@pytest.fixture
def resident(arrowfen):
    fields = {"given_name": "Rosalind", "family_name": "Oakhollow", "room": "7b", "helper_notes": ["hears badly"]}
    return arrowfen.resident(**fields)


def address(house, day=DAY):
    return reverse("scheduling:sheet", args=[house.building.pk, day])


def boxes(shown):
    return shown.content.decode().count('class="box"')


def test_each_session_has_its_time_name_room_and_a_box_a_station_in_their_order(arrowfen, resident, coordinator):
    booked(arrowfen, resident, MON, first=2)
    booked(arrowfen, arrowfen.resident(given_name="Ted", family_name="Vale"), MON)

    shown = coordinator.get(address(arrowfen))

    rows = [
        (f"{visit.starts_at:%H:%M}", visit.resident.short_name, [stop.station for stop in stops])
        for visit, stops in shown.context["rows"]
    ]
    assert rows == [("15:00", "Rosalind O.", list("CDEAB")), ("15:00", "Ted V.", list("ABCDE"))]
    assert boxes(shown) == 5 * (2 + 4)
    assert "10:00–10:30 Rosalind O. 7b" in words(shown)
    assert "Arrowfen House, Monday 30 Nov 2026 Printed at Mon 30 Nov 2026, 06:00" in words(shown)


def test_no_family_name_load_reason_or_note_is_on_it(arrowfen, resident, coordinator, at):
    session = booked(arrowfen, resident, MON)
    with at(MON + timedelta(minutes=5)):
        tried = NewLine("attempt", MON + timedelta(minutes=5), uuid4(), reason="asleep", note="try after lunch")
        write_lines(session=session, lines=[tried], done_by=arrowfen.aide, entered_by=arrowfen.aide)

    shown = coordinator.get(address(arrowfen))

    private = ("Oakhollow", "hears badly", "1940", "asleep", "try after lunch", resident.key, " kg", " lb")
    assert [visit.resident.family_name for visit, _ in shown.context["rows"]] == ["Oakhollow"]
    assert [word for word in private if word in shown.content.decode()] == []


def test_what_is_off_the_plan_is_not_on_it_and_what_is_done_is(arrowfen, resident, coordinator, at):
    gone, done = booked(arrowfen, resident, MON), booked(arrowfen, arrowfen.resident(), MON, first=1)
    withdraw_sessions(sessions=[gone], reason="closed", by=arrowfen.coordinator)
    with at(MON + timedelta(minutes=40)):
        train(arrowfen, done, ended_at=MON + timedelta(minutes=30))

    shown = coordinator.get(address(arrowfen))

    assert [visit.said.session.pk for visit, _ in shown.context["rows"]] == [done.pk]


def test_a_day_without_sessions_has_empty_rows_and_says_so(arrowfen, coordinator):
    shown = coordinator.get(address(arrowfen, "2026-12-06"))

    assert (shown.context["rows"], boxes(shown)) == ([], 5 * 4)
    assert "No session is on the plan for this day." in words(shown)


def test_a_house_without_stations_has_a_sheet_all_the_same(arrowfen, coordinator):
    Station.objects.update(retired_at=MON)

    shown = coordinator.get(address(arrowfen))

    assert (shown.status_code, boxes(shown)) == (200, 0)


def test_looking_at_it_is_in_the_trail(arrowfen, resident, coordinator, see_all):
    booked(arrowfen, resident, MON)
    coordinator.get(address(arrowfen))

    see_all()
    assert Audit.objects.get(action="view", noun="sheet").resident_ids == [resident.pk]


def test_the_day_leads_to_it_and_it_leads_to_the_late_entries(arrowfen, coordinator):
    day = coordinator.get(reverse("scheduling:day", args=[arrowfen.building.pk, DAY])).content.decode()
    sheet = coordinator.get(address(arrowfen)).content.decode()

    late = f'href="{reverse("program:late", args=[arrowfen.building.pk, DAY])}"'
    assert (f'href="{address(arrowfen)}"' in day, late in day, late in sheet) == (True, True, True)


@pytest.mark.parametrize("day", ["2026-11-31", "today", "9999-12-31", "1999-12-31"])
def test_a_day_that_cannot_be_is_not_found(arrowfen, coordinator, day):
    assert coordinator.get(address(arrowfen, day)).status_code == 404


def test_the_sheet_of_another_house_does_not_exist(arrowfen, brindlewharf, client_of):
    assert client_of(brindlewharf.coordinator).get(address(arrowfen)).status_code == 404


def test_the_queries_do_not_grow_with_the_sessions(arrowfen, resident, coordinator, queries, see_all):
    booked(arrowfen, resident, MON)
    few = queries(coordinator, address(arrowfen))
    see_all()
    for first in range(1, 5):
        booked(arrowfen, arrowfen.resident(), MON, first=first)

    assert queries(coordinator, address(arrowfen)) == few == 13
