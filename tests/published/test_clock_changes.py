"""The two nights of the year when the clock jumps: 48 hours are elapsed hours."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from program.rules.recovery import Claim, recovered_at
from program.rules.week import date_and_time, local_instant

NEW_YORK = ZoneInfo("America/New_York")
RECOVERY = timedelta(hours=48)


def wall(told: str) -> datetime:
    return datetime.fromisoformat(told).replace(tzinfo=NEW_YORK).astimezone(UTC)


# IANA time zone database, northamerica, rule US since 2007: second Sunday in March to first Sunday in November, 02:00.
CHANGES = [
    (date(2026, 3, 8), datetime(2026, 3, 8, 7, tzinfo=UTC), timedelta(hours=23)),
    (date(2026, 11, 1), datetime(2026, 11, 1, 6, tzinfo=UTC), timedelta(hours=25)),
]


@pytest.mark.parametrize(("day", "changes_at", "length"), CHANGES)
def test_the_day_of_a_change_is_an_hour_shorter_or_longer(day: date, changes_at: datetime, length: timedelta) -> None:
    midnight, next_midnight = local_instant(day, 0, NEW_YORK), local_instant(day + timedelta(days=1), 0, NEW_YORK)

    assert next_midnight - midnight == length
    assert midnight < changes_at < next_midnight
    before, after = ((changes_at + timedelta(seconds=seconds)).astimezone(NEW_YORK).utcoffset() for seconds in (-1, 0))
    assert after - before == timedelta(hours=24) - length


# From the two changes above, by arithmetic: the end of a session, and the first wall time 48 elapsed hours later.
RECOVERED = [
    ("2026-03-06T10:00", "Sun 8 Mar 11:00", 47),
    ("2026-03-07T10:00", "Mon 9 Mar 11:00", 47),
    ("2026-03-08T10:00", "Tue 10 Mar 10:00", 48),
    ("2026-10-30T10:00", "Sun 1 Nov 09:00", 49),
    ("2026-10-31T10:00", "Mon 2 Nov 09:00", 49),
    ("2026-03-06T02:30", "Sun 8 Mar 03:30", None),
]


@pytest.mark.parametrize(("ends", "first_allowed", "hours_to_same_time"), RECOVERED)
def test_recovery_is_48_elapsed_hours_across_the_change(
    ends: str, first_allowed: str, hours_to_same_time: int | None
) -> None:
    end = wall(ends)
    allowed = recovered_at([Claim(1, end - timedelta(minutes=30), end, is_fact=True)])

    assert allowed == end + RECOVERY
    assert date_and_time(allowed, NEW_YORK) == first_allowed
    if hours_to_same_time is not None:
        local = end.astimezone(NEW_YORK)
        same = local_instant(local.date() + timedelta(days=2), local.hour * 60 + local.minute, NEW_YORK)
        assert (same - end) / timedelta(hours=1) == hours_to_same_time


def test_two_aware_times_of_one_zone_are_not_subtracted_by_the_wall_clock() -> None:
    # Python documentation, datetime: the difference of two aware times with the same tzinfo ignores the offset.
    saturday = datetime(2026, 3, 7, 10, tzinfo=NEW_YORK)
    monday = datetime(2026, 3, 9, 10, tzinfo=NEW_YORK)

    assert (monday - saturday) / timedelta(hours=1) == 48
    assert recovered_at([Claim(1, saturday, saturday.astimezone(UTC), is_fact=True)]) > monday.astimezone(UTC)


def test_twice_a_week_at_ten_leaves_72_and_96_hours_but_95_once() -> None:
    days = [date(2026, 3, day) for day in (3, 6, 10, 13, 17)]
    starts = [local_instant(day, 600, NEW_YORK) for day in days]
    gaps = [(later - earlier) / timedelta(hours=1) for earlier, later in pairwise(starts)]

    assert gaps == [72, 95, 72, 96]
    assert [start.hour for start in starts] == [15, 15, 14, 14, 14]
