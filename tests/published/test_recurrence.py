"""RFC 5545: the examples of 3.8.5.3 with its errata, and times that are missing or repeated (3.3.5)."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from program.importing.recurrence import Recurrence, check_rule, occurrences
from program.importing.refusals import Unfit

NEW_YORK = ZoneInfo("America/New_York")
CHANGED_BACK = date(1997, 10, 26)


def instants(rule: str, starts: str, *, days: int = 400, left_out: tuple[str, ...] = ()) -> list[datetime]:
    """Starts in New York, looked up window by window."""
    first = datetime.fromisoformat(starts)
    series = Recurrence(
        first,
        length=timedelta(minutes=30),
        timezone="America/New_York",
        rrule=rule,
        left_out=tuple(datetime.fromisoformat(wall) for wall in left_out),
    )
    begins = first.replace(tzinfo=NEW_YORK).astimezone(UTC)
    found: list[datetime] = []
    for day in range(0, days, 400):
        window_from = begins + timedelta(days=day)
        window_until = window_from + timedelta(days=min(400, days - day))
        spans = occurrences(series, timezone="UTC", window_from=window_from, window_until=window_until)
        found += [starts_at.astimezone(NEW_YORK) for starts_at, _ in spans]
    return found


def days_of(year: int, written: str) -> list[date]:
    """Dates from lines like “Sep 2 9 16 Oct 7”, passing into the next year after December."""
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    days, month = [], 0
    for word in written.split():
        if word in months:
            following = months.index(word) + 1
            year += following < month
            month = following
        else:
            days.append(date(year, month, int(word)))
    return days


TWICE_WEEKLY = "Sep 2 4 9 11 16 18 23 25 30 Oct 2"
# RFC 5545, 3.8.5.3, each with the dates printed there.
PRINTED = [
    ("FREQ=WEEKLY;COUNT=10", "1997-09-02T09:00", "Sep 2 9 16 23 30 Oct 7 14 21 28 Nov 4"),
    (
        "FREQ=WEEKLY;UNTIL=19971224T000000Z",
        "1997-09-02T09:00",
        "Sep 2 9 16 23 30 Oct 7 14 21 28 Nov 4 11 18 25 Dec 2 9 16 23",
    ),
    ("FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH", "1997-09-02T09:00", TWICE_WEEKLY),
    ("FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH", "1997-09-02T09:00", TWICE_WEEKLY),
    ("FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH", "1997-09-02T09:00", "Sep 2 4 16 18 30 Oct 2 14 16"),
    (
        "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
        "1997-09-01T09:00",
        "Sep 1 3 5 15 17 19 29 Oct 1 3 13 15 17 27 29 31 Nov 10 12 14 24 26 28 Dec 8 10 12 22",
    ),
    ("FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007-01-15T09:00", "Jan 15 30 Feb 15 Mar 15 30"),
]


@pytest.mark.parametrize(("rule", "starts", "printed"), PRINTED)
def test_a_series_falls_on_the_days_that_the_standard_prints(rule, starts, printed):
    found = instants(rule, starts)

    assert [moment.date() for moment in found] == days_of(int(starts[:4]), printed)
    assert {moment.strftime("%H:%M") for moment in found} == {"09:00"}


def test_an_endless_series_every_other_week():
    # RFC 5545, 3.8.5.3: “every other week - forever”.
    found = instants("FREQ=WEEKLY;INTERVAL=2;WKST=SU", "1997-09-02T09:00", days=169)

    assert [moment.date() for moment in found] == days_of(
        1997, "Sep 2 16 30 Oct 14 28 Nov 11 25 Dec 9 23 Jan 6 20 Feb 3 17"
    )


def test_a_daily_series_until_midnight_in_utc_leaves_out_the_last_day():
    # RFC 5545, 3.8.5.3, and erratum 6212 (rejected): midnight UTC of 24 December is 19:00 on the 23rd in New York.
    found = instants("FREQ=DAILY;UNTIL=19971224T000000Z", "1997-09-02T09:00")

    assert [moment.date() for moment in found] == [date(1997, 9, 2) + timedelta(days=day) for day in range(113)]


def test_wall_time_is_kept_over_the_clock_change():
    # RFC 5545, 3.8.5.3: 9:00 EDT before 26 October 1997, 9:00 EST from then on.
    found = instants("FREQ=DAILY;UNTIL=19971224T000000Z", "1997-09-02T09:00")

    offsets = [(moment.date() < CHANGED_BACK, moment.utcoffset() == timedelta(hours=-4)) for moment in found]
    assert set(offsets) == {(True, True), (False, False)}


def test_every_friday_the_thirteenth_without_the_start_that_is_none():
    # RFC 5545, 3.8.5.3: the start is left out by EXDATE.
    found = instants(
        "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", "1997-09-02T09:00", days=1_200, left_out=("1997-09-02T09:00",)
    )

    assert [moment.date().isoformat() for moment in found] == [
        "1998-02-13",
        "1998-03-13",
        "1998-11-13",
        "1999-08-13",
        "2000-10-13",
    ]


def test_the_example_by_the_hour_is_refused_by_our_gate():
    with pytest.raises(Unfit, match="not HOURLY"):
        check_rule("FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T170000Z")


@pytest.mark.parametrize(("until", "hours"), [("19970902T170000Z", [9, 12]), ("19970902T210000Z", [9, 12, 15])])
def test_the_last_moment_of_a_series_is_counted_in_utc_as_the_erratum_says(until, hours):
    # RFC 5545, erratum 3883 (verified): the printed 9, 12 and 15 o'clock need an end at 21:00 UTC, not 17:00.
    found = instants(f"FREQ=DAILY;BYHOUR=9,12,15;UNTIL={until}", "1997-09-02T09:00")

    assert [moment.hour for moment in found] == hours


@pytest.mark.parametrize(
    ("local", "instant"),
    [
        # RFC 5545, 3.3.5: of a repeated time the first; a missing time with the offset before the gap.
        ("2007-11-04T01:30", "2007-11-04T01:30:00-04:00"),
        ("2007-03-11T02:30", "2007-03-11T03:30:00-04:00"),
    ],
)
def test_missing_and_repeated_times_are_read_as_the_standard_says(local, instant):
    assert [moment.isoformat() for moment in instants("", local)] == [instant]


def test_the_same_clock_time_twice_a_week_is_an_hour_short_once_a_year():
    # IANA time zone data: New York puts its clocks forward on 8 March 2026, recomputed by hand.
    found = instants("FREQ=WEEKLY;BYDAY=TU,FR", "2026-02-24T10:00", days=22)

    gaps = [
        (later.astimezone(UTC) - earlier.astimezone(UTC)) / timedelta(hours=1) for earlier, later in pairwise(found)
    ]
    assert gaps == [72, 96, 72, 95, 72, 96]
