"""A day, and moving, withdrawing and offering single sessions."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from program import clock
from program.actions.places import change_building, close
from program.actions.safety import set_hold
from program.models import Closure, Session
from scheduling.actions import book_session
from tests import factories
from tests.program.pages.words import refusal, words

MONDAY = date(2026, 11, 30)


def at_clock(hour, minute=0, day=MONDAY):
    """New York is five hours behind in winter."""
    return datetime(day.year, day.month, day.day, hour + 5, minute, tzinfo=UTC)


@pytest.fixture
def manned(arrowfen):
    for offset in range(5):
        day = MONDAY + timedelta(days=offset)
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, day, 8 * 60, 17 * 60)
    return arrowfen


@pytest.fixture
def booked(manned):
    resident = manned.resident(given_name="Åsa", family_name="Quillmoor", escort_people=1, escort_minutes=10, room="7")
    return book_session(resident=resident, starts_at=at_clock(10), by=manned.coordinator)


def address(house, name, *rest):
    return reverse(f"scheduling:{name}", args=[house.building.pk, *rest])


def test_the_day_says_who_is_where_who_is_fetched_and_how_full_it_is(manned, booked, coordinator):
    shown = coordinator.get(address(manned, "day", "2026-11-30"))

    assert [(row.at, [cell.station for cell in row.cells if cell.visit]) for row in shown.context["grid"].rows] == [
        ("10:00", ["A"]),
        ("10:06", ["B"]),
        ("10:12", ["C"]),
        ("10:18", ["D"]),
        ("10:24", ["E"]),
    ]
    assert [(f"{way.at:%H:%M}", way.is_back) for way in shown.context["ways"]] == [("14:50", False), ("15:30", True)]
    words_by_hour = {hour.starts: hour.words for hour in shown.context["help"]}
    # Ten minutes of fetching one-to-one; half an hour shared by three and ten minutes back.
    assert (words_by_hour["09:00"], words_by_hour["10:00"]) == ("10 of 60 minutes", "20 of 60 minutes")


def test_a_session_is_moved_to_an_offered_time(manned, booked, coordinator, see_all):
    move = address(manned, "move", booked.pk)
    offered = [one.start for day in coordinator.get(move).context["days"] for one in (*day.morning, *day.afternoon)]

    done = coordinator.post(move, {"version": booked.version, "starts_at": "2026-11-30T10:30"}, follow=True)

    see_all()
    booked.refresh_from_db()
    assert at_clock(10, 30) in offered
    assert booked.starts_at == at_clock(10, 30)
    assert "Moved from Mon 30 Nov 10:00 to Mon 30 Nov 10:30." in words(done)


def test_a_time_that_breaks_a_rule_is_answered_with_its_sentence_and_the_next(manned, booked, coordinator, see_all):
    shown = coordinator.post(
        address(manned, "move", booked.pk), {"version": booked.version, "starts_at": "2026-11-30T12:00"}
    )

    see_all()
    booked.refresh_from_db()
    assert (shown.status_code, booked.starts_at) == (409, at_clock(10))
    assert refusal(shown) == "12:00 is inside lunch 12:00–13:00."
    assert shown.context["changes"] == ["The next time that keeps all rules is Mon 30 Nov 13:30."]
    assert shown.context["form"]["starts_at"].value() == "2026-11-30T12:00"


def test_a_time_inside_the_buffer_is_taken_and_said(manned, booked, coordinator, see_all):
    change_building(building=manned.building, buffer_turns=1)
    times = address(manned, "times", booked.resident_id)

    done = coordinator.post(times, {"starts_at": "2026-12-02T10:30"}, follow=True)

    see_all()
    assert Session.objects.filter(starts_at=at_clock(10, 30, date(2026, 12, 2))).count() == 1
    assert "Booked Wed 2 Dec 10:30. It lies inside the planning buffer of 6 minutes" in words(done)


def test_a_session_changed_meanwhile_is_not_moved(manned, booked, coordinator, see_all):
    old = booked.version
    coordinator.post(address(manned, "move", booked.pk), {"version": old, "starts_at": "2026-11-30T10:30"})

    shown = coordinator.post(address(manned, "move", booked.pk), {"version": old, "starts_at": "2026-11-30T11:00"})

    see_all()
    booked.refresh_from_db()
    assert (shown.status_code, booked.starts_at) == (412, at_clock(10, 30))
    assert shown.context["form"]["version"].value() == booked.version


def test_a_session_is_withdrawn_with_a_reason(manned, booked, coordinator, see_all):
    withdraw = address(manned, "withdraw", booked.pk)

    assert coordinator.post(withdraw, {"version": booked.version, "reason": "", "note": ""}).status_code == 422
    assert coordinator.post(withdraw, {"version": 99, "reason": "visitors", "note": ""}).status_code == 412
    assert coordinator.post(withdraw, {"version": booked.version, "reason": "visitors", "note": ""}).status_code == 302
    see_all()
    booked.refresh_from_db()
    assert booked.withdrawn_at == clock.now()
    assert "visitors" in words(coordinator.get(address(manned, "day", "2026-11-30")))


def test_nobody_on_hold_is_offered_times_and_the_reason_is_named(manned, coordinator):
    resident = manned.resident()
    set_hold(resident=resident, kind="clinical", reason="fall", starts_at=clock.now(), by=manned.coordinator)

    shown = coordinator.get(address(manned, "times", resident.pk))

    assert shown.context["days"] == []
    assert "Another time" not in words(shown)
    assert "Exercise hold: fall No times are offered while this is so." in words(shown)


def test_staff_see_the_day_but_move_nothing(manned, booked, client_of):
    aide = client_of(manned.aide)

    assert "Withdraw" not in words(aide.get(address(manned, "day", "2026-11-30")))
    assert aide.get(address(manned, "move", booked.pk)).status_code == 403
    assert aide.post(address(manned, "times", booked.resident_id), {"starts_at": "2026-12-02T11:00"}).status_code == 403


def test_a_session_of_another_house_does_not_exist(manned, booked, brindlewharf, client_of, coordinator):
    stranger = client_of(brindlewharf.coordinator)

    for name in ("move", "withdraw"):
        assert stranger.get(address(brindlewharf, name, booked.pk)).status_code == 404
    assert stranger.get(address(manned, "day", "2026-11-30")).status_code == 404
    assert coordinator.get(address(manned, "day", "tomorrow")).status_code == 404


def test_the_queries_of_a_day_do_not_grow_with_the_sessions(manned, booked, coordinator, queries, see_all):
    day = address(manned, "day", "2026-11-30")
    few = queries(coordinator, day)
    see_all()
    for minutes in (0, 36, 72, 108):
        for _ in range(2):
            starts_at = at_clock(13, 30) + timedelta(minutes=minutes)
            book_session(resident=manned.resident(), starts_at=starts_at, by=manned.coordinator)

    assert (few, queries(coordinator, day)) == (16, 16)


def test_what_must_be_known_of_a_session_is_said_in_words(manned, booked, coordinator):
    plain, cut = booked, book_session(resident=manned.resident(), starts_at=at_clock(11), by=manned.coordinator)
    Session.objects.filter(pk=cut.pk).update(is_cut=True, held_from=at_clock(11, 4))
    Session.objects.filter(pk=plain.pk).update(is_locked=True)

    shown = coordinator.get(address(manned, "day", "2026-11-30"))

    assert "Mon 11:00 is 4 min too early: possible from 11:04" in words(shown)
    assert "Stays where it is" in words(shown)
    kinds = {cell.kind for row in shown.context["grid"].rows for cell in row.cells if cell.visit}
    assert kinds == {"locked", "overtaken"}


def test_a_station_left_out_is_counted(manned, coordinator):
    close(
        building=manned.building,
        station=manned.stations[2],
        reason="out of order",
        starts_at=clock.now(),
        by=manned.coordinator,
    )
    book_session(resident=manned.resident(), starts_at=at_clock(10), by=manned.coordinator)

    shown = coordinator.get(address(manned, "day", "2026-11-30"))

    assert [marked for _, marked, _ in shown.context["rows"]] == ["4 of 5 stations"]
    assert "Where it says fewer stations, the session goes on without C." in words(shown)


def test_stations_left_out_are_named_one_by_one_where_they_differ(manned, booked, coordinator):
    other = book_session(resident=manned.resident(), starts_at=at_clock(11), by=manned.coordinator)
    for session, station in ((booked, manned.stations[0]), (other, manned.stations[1])):
        Session.objects.filter(pk=session.pk).update(left_out=[station.pk])
        session.slots.get(station=station).delete()

    shown = coordinator.get(address(manned, "day", "2026-11-30"))

    assert [marked for _, marked, _ in shown.context["rows"]] == [
        "4 of 5 stations, without A",
        "4 of 5 stations, without B",
    ]


def test_a_session_inside_the_planning_buffer_says_so(manned, booked, coordinator, see_all):
    change_building(building=manned.building, buffer_turns=1)
    second = at_clock(10, 30, date(2026, 12, 2))
    book_session(resident=booked.resident, starts_at=second, by=manned.coordinator)

    shown = coordinator.get(address(manned, "day", "2026-12-02"))

    assert [visit.notes for visit in shown.context["visits"]] == [["inside the planning buffer"]]


@pytest.mark.parametrize("what", ["station", "unit", "building"])
def test_a_closure_is_said_on_the_day_and_on_the_sessions_it_touches(manned, booked, coordinator, what):
    """Whatever is closed over a published session must be seen by whoever looks at the day."""
    places = {"station": {"station": manned.stations[0]}, "unit": {"unit": manned.unit}, "building": {}}[what]
    Closure.objects.create(
        building=manned.building,
        reason="outbreak",
        starts_at=at_clock(9),
        entered_by=manned.coordinator,
        entered_at=at_clock(8),
        **places,
    )

    shown = coordinator.get(address(manned, "day", "2026-11-30"))

    assert "outbreak, from Mon 30 Nov 09:00 until it is opened again." in words(shown)
    assert "Closed then: move or withdraw" in words(shown)
    assert "outbreak, from Mon 30 Nov" in words(coordinator.get(address(manned, "week", "2026-W49")))


def test_a_weekday_without_opening_hours_is_named(manned, booked, coordinator):
    sunday = coordinator.get(address(manned, "day", "2026-12-06"))
    refused = coordinator.post(
        address(manned, "move", booked.pk), {"version": booked.version, "starts_at": "2026-12-06T10:00"}
    )

    assert "The circuit is not open on Sundays" in words(sunday)
    assert refusal(refused) == "The circuit is not open on Sundays."
