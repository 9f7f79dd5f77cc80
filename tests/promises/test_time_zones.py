"""Time is right everywhere: eight zones, whole-hour and not, through both nights of a clock change."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from program import clock
from program.actions.calendars import add_commitment
from program.actions.shifts import add_shift
from program.models import CommitmentTime, Session, ShiftTime
from program.rules.opening import Period, on_day
from program.rules.week import Week, local_instant
from scheduling.actions import book_session, judge_time, times_of
from scheduling.times import Allowed
from tests import factories
from tests.conftest import House, build_house
from tests.program.actions.arranging import booked, train

# IANA time zone database: offsets and the days of change in 2027; None where the clock does not change.
ZONES = [
    ("America/New_York", date(2027, 3, 14), date(2027, 11, 7)),
    ("America/St_Johns", date(2027, 3, 14), date(2027, 11, 7)),  # -3:30
    ("America/Phoenix", None, None),
    ("Europe/Paris", date(2027, 3, 28), date(2027, 10, 31)),
    ("Asia/Kathmandu", None, None),  # +5:45
    ("Asia/Kolkata", None, None),  # +5:30
    ("Australia/Lord_Howe", date(2027, 10, 3), date(2027, 4, 4)),  # +10:30, and changes by half an hour
    ("Pacific/Chatham", date(2027, 9, 26), date(2027, 4, 4)),  # +12:45
]
# A day without a change stands in for a change that there is not.
DAYS = [(zone, day or date(2027, 3, 14)) for zone, spring, autumn in ZONES for day in (spring, autumn)]
pytestmark = pytest.mark.django_db


def house_in(zone: str) -> House:
    house = build_house(f"House in {zone}", timezone=zone)
    # Open every day, so that also the Sunday of the change is worked.
    factories.open_hours(house.building, weekdays=range(6, 7))
    return house


def on_the_wall(moment: datetime, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M}"


@pytest.mark.parametrize(("zone", "day"), DAYS)
def test_recovery_is_elapsed_time_over_the_night(zone: str, day: date) -> None:
    house = house_in(zone)
    where, resident = house.building.zone, house.resident()
    saturday = local_instant(day - timedelta(days=1), 10 * 60, where)
    monday = day + timedelta(days=1)
    factories.on_the_circuit(house.building, house.aide, monday, 8 * 60, 17 * 60)
    with clock.at(saturday - timedelta(days=1)):
        session = booked(house, resident, saturday)
    with clock.at(saturday + timedelta(hours=1)):
        train(house, session, ended_at=saturday + timedelta(minutes=30))
        free_at = saturday + timedelta(minutes=30, hours=48)
        starts = [time.start for time in times_of(resident=resident, week=Week.holding(monday))]

        first = local_instant(monday, 8 * 60, where)
        expected = next(
            first + timedelta(minutes=6) * turn for turn in range(200) if first + timedelta(minutes=6) * turn >= free_at
        )
        assert starts[0] == max(expected, first)
        assert not isinstance(judge_time(resident=resident, starts_at=expected - timedelta(minutes=6)), Allowed)
        assert book_session(resident=resident, starts_at=expected, by=house.coordinator).starts_at == expected

    assert [one.is_too_soon for one in Session.objects.of(house.building).order_by("starts_at")] == [False, False]


@pytest.mark.parametrize(("zone", "day"), DAYS)
def test_the_circuit_opens_by_the_clock_on_the_wall_on_the_day_of_the_change(zone: str, day: date) -> None:
    where = ZoneInfo(zone)
    [opening] = on_day([Period(day.weekday(), 8 * 60, 17 * 60)], day, where)

    assert (on_the_wall(opening.start, where), on_the_wall(opening.end, where)) == (f"{day} 08:00", f"{day} 17:00")
    assert opening.end - opening.start == timedelta(hours=9)


@pytest.mark.parametrize("zone", [zone for zone, _, _ in ZONES])
def test_weekly_shifts_and_commitments_keep_their_wall_time_all_year(zone: str) -> None:
    house = house_in(zone)
    where = house.building.zone
    resident = house.resident()
    add_shift(
        building=house.building,
        user=house.aide,
        first_on=date(2026, 12, 6),
        starts_minute=9 * 60,
        ends_minute=11 * 60,
        by=house.coordinator,
    )
    add_commitment(
        resident=resident,
        kind="therapy",
        starts="2026-12-06T02:30",
        timezone=zone,
        minutes=30,
        rrule="FREQ=WEEKLY",
        by=house.coordinator,
    )
    shifts = ShiftTime.objects.of(house.building).order_by("starts_at")
    commitments = CommitmentTime.objects.of(house.building).order_by("starts_at")

    assert len(shifts) > 50
    assert {f"{one.starts_at.astimezone(where):%a %H:%M}" for one in shifts} == {"Sun 09:00"}
    assert {f"{one.ends_at.astimezone(where):%a %H:%M}" for one in shifts} == {"Sun 11:00"}
    days = [one.starts_at.astimezone(where).date() for one in commitments]
    # Nothing twice, nothing left out: one a week, also where 02:30 is missing or comes twice.
    assert [later - earlier for earlier, later in pairwise(days)] == [timedelta(days=7)] * (len(days) - 1)
    off = [one for one in commitments if f"{one.starts_at.astimezone(where):%H:%M}" != "02:30"]
    assert len(off) <= 1


@pytest.mark.parametrize(("zone", "day"), DAYS)
def test_no_minute_of_the_wall_clock_gives_no_instant_or_two(zone: str, day: date) -> None:
    where = ZoneInfo(zone)
    instants = [local_instant(day, minute, where) for minute in range(0, 1440, 6)]
    midnight, next_midnight = local_instant(day, 0, where), local_instant(day + timedelta(days=1), 0, where)

    assert all(midnight <= instant < next_midnight for instant in instants)
    assert instants[0] == midnight
    assert all(instant.tzinfo is UTC for instant in instants)
