from datetime import UTC, datetime, timedelta
from itertools import takewhile
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given
from hypothesis import strategies as st

from program.importing.recurrence import Changed, Recurrence, check_rule, check_start, occurrences
from program.importing.refusals import Unfit

HALF_HOUR = timedelta(minutes=30)
# Offsets of whole, half and quarter hours, in both hemispheres; one changes its clocks by half an hour.
ZONES = (
    *("America/New_York", "America/St_Johns", "Europe/Prague", "Asia/Kolkata"),
    *("Asia/Kathmandu", "Australia/Eucla", "Australia/Lord_Howe", "Pacific/Chatham"),
)


def wall(text: str) -> datetime:
    return datetime.fromisoformat(text)


def happens(
    commitment: Recurrence, window_from: str, window_until: str, timezone: str = "America/New_York"
) -> list[tuple[str, str]]:
    """Start and end in the zone's wall time, for a window written in it."""
    zone = ZoneInfo(timezone)
    window = {
        "window_from": wall(window_from).replace(tzinfo=zone),
        "window_until": wall(window_until).replace(tzinfo=zone),
    }
    return [
        (
            starts_at.astimezone(zone).isoformat(" ", "minutes")[:16],
            ends_at.astimezone(zone).isoformat(" ", "minutes")[11:16],
        )
        for starts_at, ends_at in occurrences(commitment, timezone=timezone, **window)
    ]


def test_what_happens_once_happens_once():
    once = Recurrence(wall("2026-11-30T09:00"), length=HALF_HOUR)

    assert happens(once, "2026-11-30", "2026-12-01") == [("2026-11-30 09:00", "09:30")]


def test_what_reaches_into_the_window_is_in_it_and_what_only_touches_it_is_not():
    once = Recurrence(wall("2026-11-30T09:00"), length=HALF_HOUR)

    assert happens(once, "2026-11-30T09:29", "2026-11-30T10:00") == [("2026-11-30 09:00", "09:30")]
    assert happens(once, "2026-11-30T09:30", "2026-11-30T10:00") == []
    assert happens(once, "2026-11-30T08:00", "2026-11-30T09:00") == []


def test_days_away_that_began_before_the_window_reach_into_it():
    series = Recurrence(wall("2026-11-06"), days=3, is_all_day=True, rrule="FREQ=WEEKLY")

    assert happens(series, "2026-11-29T12:00", "2026-11-29T13:00") == [("2026-11-27 00:00", "00:00")]


def test_a_day_lasts_as_long_as_the_day_does():
    day = Recurrence(wall("2026-11-01"), days=1, is_all_day=True)

    (span,) = occurrences(
        day,
        timezone="America/New_York",
        window_from=datetime(2026, 11, 1, 12, tzinfo=UTC),
        window_until=datetime(2026, 11, 1, 13, tzinfo=UTC),
    )

    assert span[1] - span[0] == timedelta(hours=25)


def test_left_out_moved_cancelled_and_added_times_of_a_series():
    series = Recurrence(
        wall("2026-11-02T10:00"),
        length=HALF_HOUR,
        rrule="FREQ=WEEKLY",
        extra=(wall("2026-11-11T08:00"),),
        left_out=(wall("2026-11-09T10:00"),),
        changed=(
            Changed(wall("2026-11-16T10:00"), wall("2026-11-18T14:00"), length=timedelta(hours=1)),
            Changed(wall("2026-11-23T10:00"), None),
        ),
    )

    assert happens(series, "2026-11-01", "2026-12-01") == [
        ("2026-11-02 10:00", "10:30"),
        ("2026-11-11 08:00", "08:30"),
        ("2026-11-18 14:00", "15:00"),
        ("2026-11-30 10:00", "10:30"),
    ]


def test_a_time_moved_into_the_window_from_far_outside_is_in_it():
    moved = Changed(wall("2027-06-07T10:00"), wall("2026-12-01T10:00"), length=HALF_HOUR)
    series = Recurrence(wall("2027-06-07T10:00"), length=HALF_HOUR, rrule="FREQ=WEEKLY", changed=(moved,))

    assert happens(series, "2026-12-01", "2026-12-02") == [("2026-12-01 10:00", "10:30")]


def test_a_count_is_used_up_before_times_are_left_out():
    # From memory of RFC 5545 and recomputed (reference fact 8.1): ten less the one left out.
    series = Recurrence(wall("2026-11-02T10:00"), rrule="FREQ=DAILY;COUNT=10", left_out=(wall("2026-11-05T10:00"),))

    assert len(happens(series, "2026-11-01", "2026-12-01")) == 9


def test_a_start_outside_its_own_rule_still_happens_and_counts():
    series = Recurrence(wall("2026-11-03T10:00"), length=HALF_HOUR, rrule="FREQ=WEEKLY;BYDAY=MO;COUNT=3")

    assert [start for start, _ in happens(series, "2026-11-01", "2026-12-31")] == [
        "2026-11-03 10:00",
        "2026-11-09 10:00",
        "2026-11-16 10:00",
    ]


@pytest.mark.parametrize(
    ("until", "last"),
    [
        ("20261204", "2026-12-04 10:00"),
        ("20261204T100000", "2026-12-04 10:00"),
        ("20261204T150000Z", "2026-12-04 10:00"),
        ("20261204T145959Z", "2026-12-03 10:00"),
    ],
)
def test_a_series_ends_with_its_last_day_or_moment(until, last):
    series = Recurrence(wall("2026-11-30T10:00"), length=HALF_HOUR, rrule=f"FREQ=DAILY;UNTIL={until}")

    assert happens(series, "2026-11-30", "2026-12-31")[-1][0] == last


@pytest.mark.parametrize("timezone", ZONES)
@pytest.mark.parametrize("clock", ["09:00", "02:30"])
def test_a_daily_commitment_happens_once_on_every_day_of_the_year_everywhere(timezone, clock):
    series = Recurrence(wall(f"2026-01-01T{clock}"), length=HALF_HOUR, rrule="FREQ=DAILY")

    starts = [start for start, _ in happens(series, "2026-01-01", "2027-01-01", timezone)]
    days = [(wall("2026-01-01") + timedelta(days=day)).date().isoformat() for day in range(365)]

    assert [start[:10] for start in starts] == days
    assert {start[11:] for start in starts if start[11:] != clock} <= (
        {"03:00", "03:30"} if clock == "02:30" else set()
    )


def test_a_commitment_without_a_zone_follows_the_building_when_its_zone_is_corrected():
    series = Recurrence(wall("2026-11-30T09:00"), length=HALF_HOUR, rrule="FREQ=DAILY")

    assert happens(series, "2026-12-01", "2026-12-02", "America/Denver") == [("2026-12-01 09:00", "09:30")]
    assert happens(series, "2026-12-01", "2026-12-02", "Asia/Kathmandu") == [("2026-12-01 09:00", "09:30")]


rules = st.one_of(
    st.builds("FREQ=DAILY;INTERVAL={}".format, st.integers(1, 40)),
    st.builds(
        "FREQ=WEEKLY;INTERVAL={};WKST={};BYDAY={}".format,
        st.integers(1, 6),
        st.sampled_from(["MO", "SU"]),
        st.sets(st.sampled_from(["MO", "TU", "TH", "SA", "SU"]), min_size=1).map(lambda days: ",".join(sorted(days))),
    ),
    st.builds("FREQ=MONTHLY;BYDAY={}{}".format, st.integers(-4, 4).filter(bool), st.sampled_from(["MO", "WE", "SU"])),
    st.builds(
        "FREQ=MONTHLY;INTERVAL={};BYMONTHDAY={}".format, st.integers(1, 5), st.sampled_from(["-1", "15,30", "29"])
    ),
    st.builds("FREQ=YEARLY;BYMONTH={};BYDAY={}MO".format, st.integers(1, 12), st.sampled_from([1, -1])),
    st.builds("FREQ=YEARLY;BYWEEKNO={};BYDAY=TU".format, st.integers(1, 53)),
)


@given(
    rule=rules,
    starts=st.datetimes(min_value=wall("2016-11-28"), max_value=wall("2026-11-28")),
    days_on=st.integers(0, 3_000),
)
def test_times_are_those_that_the_library_gives_when_it_walks_all_years(rule, starts, days_on):
    starts = starts.replace(microsecond=0)
    window_from = (starts + timedelta(days=days_on)).replace(tzinfo=UTC)
    window_until = window_from + timedelta(days=400)
    series = Recurrence(starts, length=HALF_HOUR, timezone="UTC", rrule=rule)

    ours = [
        start for start, _ in occurrences(series, timezone="UTC", window_from=window_from, window_until=window_until)
    ]
    walked = takewhile(lambda moment: moment < window_until, rrulestr(rule, dtstart=starts.replace(tzinfo=UTC)))
    known = {starts.replace(tzinfo=UTC), *walked}

    assert ours == sorted(moment for moment in known if moment + HALF_HOUR > window_from)


def test_a_window_of_more_than_400_days_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="not be longer than 400 days"):
        happens(Recurrence(wall("2026-11-30")), "2026-01-01", "2027-06-01")


def test_more_times_than_the_cap_are_refused_and_never_cut_short():
    window = {"window_from": datetime(2026, 11, 30, tzinfo=UTC), "window_until": datetime(2027, 11, 30, tzinfo=UTC)}
    series = Recurrence(wall("2026-11-30T09:00"), length=HALF_HOUR, rrule="FREQ=DAILY")

    with pytest.raises(Unfit, match="more than 100 times"):
        occurrences(series, timezone="UTC", cap=100, **window)


def test_a_series_too_far_away_to_be_followed_is_refused():
    with pytest.raises(Unfit, match="too far from today"):
        happens(Recurrence(wall("1850-01-01T09:00"), rrule="FREQ=YEARLY"), "2026-01-01", "2026-02-01")


REFUSED = [
    ("FREQ=HOURLY", "A series repeats by day, week, month or year, not HOURLY. Change it."),
    ("COUNT=3", "A series repeats by day, week, month or year, not without FREQ. Change it."),
    ("FREQ=DAILY;INTERVAL=0", "INTERVAL must be a whole number from 1 to 366. Make the series again."),
    ("FREQ=DAILY;COUNT=1001", "COUNT must be a whole number from 1 to 1,000. Make the series again."),
    ("FREQ=DAILY;COUNT=2;UNTIL=20270101", "A series ends by COUNT or by UNTIL, not by both. Remove one."),
    ("FREQ=DAILY;UNTIL=tomorrow", "UNTIL is not a date or date and time. Correct it."),
    ("FREQ=DAILY;UNTIL=20270230", "UNTIL is not a date or date and time. Correct it."),
    ("FREQ=DAILY;WKST=XX", "WKST is not a weekday. Correct it."),
    ("FREQ=WEEKLY;BYDAY=2MO", "BYDAY cannot be read in a weekly series. Make the series again."),
    ("FREQ=MONTHLY;BYMONTHDAY=x", "BYMONTHDAY is not a list of whole numbers. Make the series again."),
    ("FREQ=DAILY;BYHOUR=1,2,3,4,5,6,7,8,9,10,11", "BYHOUR has more than 10 numbers. Make a simpler series."),
    (
        "FREQ=DAILY;BYHOUR=1,2,3,4;BYMINUTE=1,2,3",
        "The series happens more than 10 times a day. Make several simpler ones.",
    ),
    ("FREQ=DAILY;BYHOUR=99", "The recurrence rule has a part that cannot be read. Make the series again."),
    ("FREQ=DAILY;FREQ=DAILY", "The recurrence rule names FREQ twice. Make the series again."),
    ("FREQ=DAILY;BYEASTER=1", "The recurrence rule has an unknown part “BYEASTER”. Make the series again."),
    ("FREQ=DAILY;", "The recurrence rule has a part without a value. Make the series again."),
    ("FREQ=DAILY;BYYEARDAY=" + "1," * 300 + "1", "The recurrence rule is too long. Make a simpler series."),
]


@pytest.mark.parametrize(("rule", "sentence"), REFUSED)
def test_the_gate_refuses_with_what_to_do(rule, sentence):
    with pytest.raises(Unfit) as refused:
        check_rule(rule)

    assert refused.value.sentence == sentence


@pytest.mark.parametrize(
    ("starts_on", "is_taken"), [("2016-01-01", True), ("2015-12-31", False), ("2037-01-01", False)]
)
def test_a_start_more_than_ten_years_from_today_is_refused(starts_on, is_taken):
    try:
        check_start(wall(starts_on).date(), today=wall("2026-11-28").date())
        taken = True
    except Unfit:
        taken = False

    assert taken == is_taken
