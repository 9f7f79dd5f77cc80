"""A week from the request to what is published."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pytest

from program import clock
from program.actions.places import close
from program.actions.sessions import Booking, PlannedSlot, book_sessions
from program.models import Building, Hold, Session, Slot
from program.rules.errors import Refused
from program.rules.week import Week
from scheduling.actions import compare, fill_roster, move_session, publish_roster, start_roster, times_of
from scheduling.models import Roster
from tests import factories
from tests.conftest import House

W49 = Week(date(2026, 11, 30))
ZONE = ZoneInfo("America/New_York")


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def staffed(house: House) -> House:
    for day in W49.days[:6]:
        factories.on_the_circuit(house.building, house.aide, day, 8 * 60, 17 * 60)
    return house


def built(house: House, *, seconds: int = 5) -> Roster:
    roster = start_roster(building=house.building, week=W49, by=house.coordinator, seconds=seconds)
    fill_roster(roster_id=roster.pk, building_id=house.building.pk)
    roster.refresh_from_db()
    return roster


def test_a_week_with_room_for_all_is_built_and_published(arrowfen: House) -> None:
    residents = [arrowfen.resident() for _ in range(12)]
    roster = built(staffed(arrowfen))

    assert (roster.state, roster.progress["placed"], roster.progress["most_possible"]) == ("draft", 24, 24)
    published = publish_roster(roster=roster, by=arrowfen.coordinator)

    assert sorted(session.resident_id for session in published.booked) == sorted(2 * [one.pk for one in residents])
    assert roster.state == Roster.State.PUBLISHED


def test_a_session_that_no_longer_fits_is_named_and_nothing_is_published(arrowfen: House) -> None:
    residents = [arrowfen.resident() for _ in range(3)]
    roster = built(staffed(arrowfen))
    Hold.objects.create(
        building=arrowfen.building,
        resident=residents[0],
        kind="away",
        reason="hospital",
        starts_at=clock.now(),
        set_by=arrowfen.aide,
        set_at=clock.now(),
    )

    with pytest.raises(Refused) as refused:
        publish_roster(roster=roster, by=arrowfen.coordinator)

    assert {clash["resident"] for clash in refused.value.details["clashes"]} == {residents[0].pk}
    assert Session.objects.count() == 0
    without = [clash["session"] for clash in refused.value.details["clashes"]]
    roster.refresh_from_db()
    published = publish_roster(roster=roster, by=arrowfen.coordinator, without=without)
    assert {session.resident_id for session in published.booked} == {residents[1].pk, residents[2].pk}


def test_a_published_session_that_cannot_stay_is_moved_by_the_next_roster(arrowfen: House) -> None:
    resident = arrowfen.resident(sessions_a_week=1)
    publish_roster(roster=built(staffed(arrowfen)), by=arrowfen.coordinator)
    session = Session.objects.get(resident=resident)
    Hold.objects.create(
        building=arrowfen.building,
        resident=resident,
        kind="away",
        reason="visit to family",
        starts_at=session.starts_at - timedelta(hours=1),
        ends_at=session.ends_at + timedelta(hours=1),
        set_by=arrowfen.aide,
        set_at=clock.now(),
    )

    roster = built(arrowfen)
    compared = compare(roster=roster)
    assert [one.pk for one, _ in compared.moved] == [session.pk]
    published = publish_roster(roster=roster, by=arrowfen.coordinator)

    assert [one.pk for one in published.moved] == [session.pk]
    assert Session.objects.get(resident=resident).starts_at != session.starts_at
    assert set(Roster.objects.values_list("state", flat=True)) == {"published", "replaced"}


@pytest.mark.parametrize("skips", [True, False])
def test_after_a_station_breaks_the_rebuilt_week_can_be_published(arrowfen: House, skips: bool) -> None:
    arrowfen.building.skips_closed_stations = skips
    arrowfen.building.save()
    for _ in range(16):
        arrowfen.resident()
    publish_roster(roster=built(staffed(arrowfen)), by=arrowfen.coordinator)
    close(
        building=arrowfen.building,
        station=arrowfen.stations[2],
        reason="out of order",
        starts_at=local("2026-12-04T00:00"),
        by=arrowfen.aide,
    )

    publish_roster(roster=built(arrowfen), by=arrowfen.coordinator)

    of_the_broken = Slot.objects.filter(station=arrowfen.stations[2], starts_at__gte=local("2026-12-04T00:00"))
    assert not of_the_broken.filter(is_held=True).exists()


def test_what_the_database_alone_refuses_is_a_clash_of_the_draft_by_its_number(
    arrowfen: House, brindlewharf: House
) -> None:
    """A session that the person has in another building: nobody here can see it, the database does."""
    moved_at = local("2026-11-30T20:00")
    before = brindlewharf.resident(until=moved_at, recovery_hours=1000)
    start = local("2026-11-30T10:00")
    slot = PlannedSlot(brindlewharf.stations[0], start, start + timedelta(minutes=6))
    book_sessions(building=brindlewharf.building, bookings=[Booking(before, [slot])], by=brindlewharf.coordinator)
    moved_in = arrowfen.resident(person=before.person, since=moved_at, enrolled_at=moved_at, sessions_a_week=1)
    other = arrowfen.resident(sessions_a_week=1)
    roster = built(staffed(arrowfen))

    with pytest.raises(Refused) as refused:
        publish_roster(roster=roster, by=arrowfen.coordinator)

    [clash] = refused.value.details["clashes"]
    assert (refused.value.problem, clash["resident"], clash["name"]) == ("roster-clashes", moved_in.pk, moved_in.name)
    roster.refresh_from_db()
    published = publish_roster(roster=roster, by=arrowfen.coordinator, without=[clash["session"]])
    assert [session.resident_id for session in published.booked] == [other.pk]


def test_moving_names_the_rule_and_the_first_allowed_time(arrowfen: House) -> None:
    resident = arrowfen.resident()
    staffed(arrowfen)
    start = local("2026-12-01T10:00")
    slots = [
        PlannedSlot(station, start + timedelta(minutes=6 * turn), start + timedelta(minutes=6 * turn + 6))
        for turn, station in enumerate(arrowfen.stations)
    ]
    [session] = book_sessions(building=arrowfen.building, bookings=[Booking(resident, slots)], by=arrowfen.coordinator)

    with pytest.raises(Refused, match=r"Would end 12:06, inside lunch 12:00–13:00\.") as refused:
        move_session(session=session, starts_at=local("2026-12-01T11:36"), by=arrowfen.coordinator)
    assert refused.value.details["allowed_from"] == local("2026-12-01T13:30")

    moved = move_session(session=session, starts_at=local("2026-12-01T13:30"), by=arrowfen.coordinator)
    assert (moved.pk, moved.starts_at) == (session.pk, local("2026-12-01T13:30"))


def test_walk_through_1_has_67_starts_on_monday(arrowfen: House) -> None:
    resident = arrowfen.resident()
    staffed(arrowfen)

    monday = [time for time in times_of(resident=resident, week=W49) if time.start.astimezone(ZONE).day == 30]

    assert len(monday) == 67


def test_whoever_cannot_train_at_all_is_not_counted_as_possible(arrowfen: House) -> None:
    for _ in range(3):
        arrowfen.resident()
    uncleared = arrowfen.resident()
    uncleared.clearances.update(until_on=date(2026, 11, 1))

    roster = built(staffed(arrowfen))

    told = roster.progress
    assert (told["placed"], told["most_possible"], told["prescribed"]) == (6, 6, 8)


def test_a_roster_that_cannot_be_built_says_so_and_is_not_building_for_ever(arrowfen: House) -> None:
    roster = start_roster(building=arrowfen.building, week=W49, by=arrowfen.coordinator, seconds=5)
    Building.objects.update(timezone="Nowhere/Else")

    with pytest.raises(ZoneInfoNotFoundError):
        fill_roster(roster_id=roster.pk, building_id=arrowfen.building.pk)

    roster.refresh_from_db()
    assert (roster.state, roster.failure) == (
        "failed",
        "Building this roster failed. Build it again; if that fails too, ask for help.",
    )
