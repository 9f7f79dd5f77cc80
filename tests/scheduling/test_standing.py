"""What stands in a week, what can no longer happen, and what a station out of order does to it."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from program.actions.places import add_hours, close, end_closure, remove_hours
from program.actions.unplanned import open_unplanned_session
from program.models import Hold, Hours, Session
from program.rules.states import State
from scheduling.actions import book_session, judge_time, move_session, publish_roster
from scheduling.load import standing_in
from scheduling.times import Refusal
from tests import factories
from tests.conftest import MONDAY
from tests.program.actions.arranging import booked, train
from tests.scheduling.test_rosters import W49, built, staffed

ZONE = ZoneInfo("America/New_York")


def local(told):
    return datetime.fromisoformat(told).replace(tzinfo=ZONE)


def loose(house):
    return list(standing_in(building=house.building, week=W49).loose)


def broken(house, letter, starts_at, ends_at):
    station = next(station for station in house.stations if station.name == letter)
    fields = {"station": station, "reason": "out of order", "by": house.aide}
    return close(building=house.building, starts_at=local(starts_at), ends_at=local(ends_at), **fields)


def visited(session):
    return [(slot.station.name, f"{slot.starts_at.astimezone(ZONE):%H:%M}") for slot in session.slots.all()]


def test_a_session_moved_to_the_next_week_does_not_stand_in_its_own_way(arrowfen):
    resident = arrowfen.resident()
    factories.on_the_circuit(arrowfen.building, arrowfen.aide, date(2026, 12, 7), 480, 1020)
    saturday = booked(arrowfen, resident, local("2026-12-05T10:00"))

    moved = move_session(session=saturday, starts_at=local("2026-12-07T08:00"), by=arrowfen.coordinator)

    assert moved.starts_at == local("2026-12-07T08:00")


def test_two_sessions_that_cannot_stay_are_moved_past_each_other(arrowfen):
    resident = arrowfen.resident()
    for start in ("2026-11-30T10:00", "2026-12-02T10:30"):
        booked(arrowfen, resident, local(start))
    Hold.objects.create(
        building=arrowfen.building,
        resident=resident,
        kind="away",
        reason="leave",
        starts_at=local("2026-11-30T07:00"),
        ends_at=local("2026-12-02T13:00"),
        set_by=arrowfen.aide,
        set_at=MONDAY,
    )

    published = publish_roster(roster=built(staffed(arrowfen)), by=arrowfen.coordinator)

    assert len(published.moved) == 2
    assert all(session.starts_at >= local("2026-12-02T13:00") for session in Session.objects.all())


def test_what_cannot_stay_keeps_its_stations_until_somebody_moves_it(arrowfen):
    waiting, other = arrowfen.resident(), arrowfen.resident()
    staffed(arrowfen)
    booked(arrowfen, waiting, local("2026-12-01T10:00"))
    Hold.objects.create(
        building=arrowfen.building,
        resident=waiting,
        kind="away",
        reason="leave",
        starts_at=local("2026-12-01T09:00"),
        ends_at=local("2026-12-01T13:00"),
        set_by=arrowfen.aide,
        set_at=MONDAY,
    )

    # Beside it the other begins with another station.
    session = book_session(resident=other, starts_at=local("2026-12-01T10:00"), by=arrowfen.coordinator)

    assert session.slots.first().station.name != "A"


def test_a_session_outside_new_opening_hours_cannot_stay(arrowfen):
    late = booked(arrowfen, arrowfen.resident(), local("2026-12-01T16:00"))
    for hours in Hours.objects.filter(kind="open", weekday=1):
        remove_hours(hours=hours)
    add_hours(building=arrowfen.building, kind="open", weekday=1, starts_minute=480, ends_minute=900)

    assert loose(arrowfen) == [late]


def test_an_overtaken_session_that_its_day_leaves_no_time_must_be_moved(arrowfen, at):
    resident = arrowfen.resident()
    thursday = booked(arrowfen, resident, local("2026-12-03T10:00"))
    with at(local("2026-12-02T16:00").astimezone(UTC)):
        wednesday = local("2026-12-02T11:00")
        unplanned = open_unplanned_session(
            resident=resident, starts_at=wednesday, ends_at=wednesday + timedelta(minutes=30)
        )
        train(arrowfen, unplanned, ended_at=wednesday + timedelta(minutes=30))
        assert loose(arrowfen) == [thursday]


def test_somebody_at_the_stations_keeps_them_until_they_have_ended(arrowfen, at):
    here, other = arrowfen.resident(help_sixths=6), arrowfen.resident()
    staffed(arrowfen)
    session = booked(arrowfen, here, local("2026-11-30T10:00"))
    with at(local("2026-11-30T10:05").astimezone(UTC)):
        train(arrowfen, session, ended_at=local("2026-11-30T10:04"))
        judged = judge_time(resident=other, starts_at=local("2026-11-30T10:06"))

    # One-to-one with the only aide until 10:30.
    assert isinstance(judged, Refusal)
    assert judged.code == "help_short"


def test_somebody_outside_the_programme_is_not_said_to_lack_a_plan(arrowfen):
    left = arrowfen.resident(until=local("2026-11-29T10:00"))

    judged = judge_time(resident=left, starts_at=local("2026-12-01T10:00"))

    assert judged == Refusal("not_in_the_programme", f"{left.name} is not in the programme here that week.")


def test_walk_through_6_goes_on_without_the_station(arrowfen):
    staffed(arrowfen)
    sessions = [
        booked(arrowfen, arrowfen.resident(), local(f"2026-12-01T{hour}:{minute}"))
        for hour in (10, 11, 14, 15, 16)
        for minute in ("00", "30")
    ]
    broken(arrowfen, "C", "2026-12-01T10:00", "2026-12-04T12:00")
    kept = list(Session.objects.order_by("starts_at"))

    assert [session.pk for session in kept] == [session.pk for session in sessions]
    assert [(session.starts_at, session.left_out) for session in kept] == [
        (session.starts_at, [arrowfen.stations[2].pk]) for session in sessions
    ]
    assert {session.ends_at - session.starts_at for session in kept} == {timedelta(minutes=24)}
    assert visited(kept[0]) == [("A", "10:00"), ("B", "10:06"), ("D", "10:12"), ("E", "10:18")]
    assert loose(arrowfen) == []
    # A new start that would have ended in lunch with all five stations.
    start = local("2026-12-02T11:36")
    assert book_session(resident=arrowfen.resident(), starts_at=start, by=arrowfen.coordinator).slots.count() == 4


def test_with_the_rule_off_every_session_on_the_station_is_listed(arrowfen):
    arrowfen.building.skips_closed_stations = False
    arrowfen.building.save()
    sessions = [booked(arrowfen, arrowfen.resident(), local(f"2026-12-01T{hour}:00")) for hour in (10, 14)]

    broken(arrowfen, "C", "2026-12-01T10:00", "2026-12-04T12:00")

    assert loose(arrowfen) == sessions
    assert [session.slots.count() for session in sessions] == [5, 5]


def test_what_ends_before_the_station_breaks_or_has_begun_keeps_its_five(arrowfen, at):
    before = booked(arrowfen, arrowfen.resident(), local("2026-12-01T09:00"))
    begun = booked(arrowfen, arrowfen.resident(), local("2026-12-01T10:00"))
    with at(local("2026-12-01T10:04").astimezone(UTC)):
        train(arrowfen, begun, ended_at=local("2026-12-01T10:03"))
        broken(arrowfen, "C", "2026-12-01T09:30", "2026-12-04T12:00")

    assert [session.slots.count() for session in (before, begun)] == [5, 5]


def test_sessions_that_overlap_go_on_without_the_station_and_never_share_one(arrowfen):
    for first in range(3):
        booked(arrowfen, arrowfen.resident(), local("2026-12-01T10:00"), first=first)
    booked(arrowfen, arrowfen.resident(), local("2026-12-01T10:18"), first=1)
    broken(arrowfen, "C", "2026-12-01T10:00", "2026-12-04T12:00")

    assert [session.slots.count() for session in Session.objects.all()] == [4, 4, 4, 4]
    assert {session.ends_at - session.starts_at for session in Session.objects.all()} == {timedelta(minutes=24)}


def test_whoever_finds_no_order_that_is_free_keeps_the_gap(arrowfen):
    session = booked(arrowfen, arrowfen.resident(), local("2026-12-01T10:00"))
    # Both would have to be visited in the last of four turns.
    for letter in "DE":
        broken(arrowfen, letter, "2026-12-01T10:00", "2026-12-01T10:18")
    broken(arrowfen, "B", "2026-12-01T10:00", "2026-12-01T12:00")

    assert visited(session) == [("A", "10:00"), ("C", "10:12"), ("D", "10:18"), ("E", "10:24")]


def test_a_closure_that_lasts_longer_reaches_the_sessions_after_it(arrowfen):
    thursday = booked(arrowfen, arrowfen.resident(), local("2026-12-03T10:00"))
    closure = broken(arrowfen, "C", "2026-12-01T10:00", "2026-12-01T12:00")
    end_closure(closure=closure, ends_at=local("2026-12-04T12:00"))

    assert thursday.slots.count() == 4


def test_a_session_on_one_station_alone_cannot_go_on_without_it(arrowfen):
    resident = factories.enrolled(arrowfen.building, arrowfen.unit, arrowfen.stations[2:3], by=arrowfen.coordinator)
    staffed(arrowfen)
    session = book_session(resident=resident, starts_at=local("2026-12-01T10:00"), by=arrowfen.coordinator)
    broken(arrowfen, "C", "2026-12-01T09:30", "2026-12-04T12:00")

    assert loose(arrowfen) == [session]


def test_other_hours_close_the_day_of_what_is_booked_at_another_time(arrowfen):
    session = booked(arrowfen, arrowfen.resident(), local("2026-12-01T10:00"))
    add_hours(building=arrowfen.building, kind="open", weekday=1, starts_minute=1080, ends_minute=1140)
    session.refresh_from_db()

    assert session.day_closes_at == local("2026-12-01T19:00")
    assert session.state_at(local("2026-12-01T18:00")) is State.PUBLISHED
