from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from program.rules.errors import Invalid
from program.rules.week import Week, clock_time, date_and_time, day_and_time, local_instant

NEW_YORK = ZoneInfo("America/New_York")
HALF_PAST_TWO = 2 * 60 + 30


@pytest.mark.parametrize(
    ("day", "name"),
    [
        # ISO 8601: the first week holds the year's first Thursday.
        (date(2026, 11, 30), "2026-W49"),
        (date(2026, 12, 6), "2026-W49"),
        (date(2027, 1, 1), "2026-W53"),
        (date(2027, 1, 4), "2027-W01"),
        (date(2024, 12, 30), "2025-W01"),
    ],
)
def test_a_day_lies_in_its_iso_week(day, name):
    assert Week.holding(day).name == name
    assert day in Week.named(name).days


@given(st.dates(date(1970, 1, 1), date(2200, 12, 31)))
def test_a_week_is_found_again_by_its_name(day):
    week = Week.holding(day)

    assert Week.named(week.name) == week
    assert week.next.previous == week
    assert week.days[0].weekday() == 0


@pytest.mark.parametrize("name", ["2027-W53", "2026-W00", "2026-49", "2026-W7", "", "W49", "2026-W49\n"])
def test_what_is_not_a_week_is_refused_in_a_sentence(name):
    with pytest.raises(Invalid) as refusal:
        Week.named(name)

    assert refusal.value.sentence == f"“{name}” is not a week. Write it like 2026-W53."


def test_the_week_of_a_moment_is_the_buildings_own():
    # Sunday evening in New York, Monday in UTC.
    assert Week.of(datetime(2026, 12, 7, 3, 0, tzinfo=UTC), NEW_YORK).name == "2026-W49"


def test_a_week_with_a_clock_change_has_another_length():
    spring, autumn = Week.named("2027-W10"), Week.named("2027-W44")

    hours = [(week.ends_at(NEW_YORK) - week.starts_at(NEW_YORK)).total_seconds() / 3600 for week in (spring, autumn)]
    assert hours == [167, 169]


def test_a_wall_time_that_does_not_exist_is_read_with_the_offset_before():
    # RFC 5545, 3.3.5: 02:30 on 14 March 2027 is 03:30 EDT.
    assert local_instant(date(2027, 3, 14), HALF_PAST_TWO, NEW_YORK) == datetime(2027, 3, 14, 7, 30, tzinfo=UTC)


def test_a_wall_time_that_exists_twice_is_its_first_occurrence():
    # RFC 5545, 3.3.5: 01:30 EDT on 7 November 2027.
    assert local_instant(date(2027, 11, 7), 90, NEW_YORK) == datetime(2027, 11, 7, 5, 30, tzinfo=UTC)


def test_midnight_at_the_end_of_a_day_is_the_next_day():
    assert local_instant(date(2026, 11, 30), 1440, NEW_YORK) == local_instant(date(2026, 12, 1), 0, NEW_YORK)


def test_moments_are_written_as_people_say_them():
    moment = datetime(2026, 12, 2, 15, 30, tzinfo=UTC)

    assert [write(moment, NEW_YORK) for write in (clock_time, day_and_time, date_and_time)] == [
        "10:30",
        "Wed 10:30",
        "Wed 2 Dec 10:30",
    ]
