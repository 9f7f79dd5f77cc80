from datetime import UTC, date, datetime, timedelta

import pytest

from program.actions.calendars import add_commitment, change_commitment, end_commitment, extend_times
from program.actions.places import change_building
from program.models import Audit, CommitmentTime
from program.rules.errors import Invalid, Refused, Stale
from tests.conftest import MONDAY

WEEKLY = "FREQ=WEEKLY;BYDAY=MO"


def therapy(house, resident=None, **fields):
    told = {"kind": "therapy", "starts": "2026-11-30T10:00", "timezone": "America/New_York", "minutes": 45}
    return add_commitment(resident=resident or house.resident(), by=house.coordinator, **(told | fields))


def times(*names):
    return list(CommitmentTime.objects.order_by("starts_at").values_list(*(names or ("starts_at", "ends_at"))))


def utc(day, hour, minute=0, month=11, year=2026):
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


def test_therapy_blocks_its_time_and_ten_minutes_on_either_side(arrowfen):
    therapy(arrowfen)

    # Walk-through 2: Mon 10:00-10:45 with a margin of 10 min each side.
    assert times("starts_at", "ends_at", "blocks_from", "blocks_until") == [
        (utc(30, 15), utc(30, 15, 45), utc(30, 14, 50), utc(30, 15, 55))
    ]


@pytest.mark.parametrize(
    ("fields", "blocks"),
    [
        # Common practice, no source.
        ({"kind": "rest"}, (utc(30, 15), utc(30, 15, 45))),
        ({"kind": "dialysis"}, (utc(30, 5), utc(1, 5, month=12))),
        ({"kind": "dialysis", "margin_after_minutes": 120}, (utc(30, 5), utc(30, 17, 45))),
        ({"margin_before_minutes": 0, "margin_after_minutes": 30}, (utc(30, 15), utc(30, 16, 15))),
    ],
)
def test_kinds_have_their_own_margins_and_a_commitment_may_have_its_own(arrowfen, fields, blocks):
    therapy(arrowfen, **fields)

    assert times("blocks_from", "blocks_until") == [blocks]


def test_a_weekly_commitment_keeps_its_hour_across_the_clock_change_for_400_days(arrowfen):
    therapy(arrowfen, rrule=WEEKLY)

    starts = [start for start, _ in times()]
    assert (len(starts), starts[-1]) == (58, utc(3, 15, month=1, year=2028))
    assert starts[14:16] == [utc(8, 15, month=3, year=2027), utc(15, 14, month=3, year=2027)]


def test_left_out_extra_and_changed_times(arrowfen):
    therapy(
        arrowfen,
        rrule="FREQ=WEEKLY;COUNT=4",
        exdates=["2026-12-07T10:00"],
        rdates=["2026-12-01T09:00:00-05:00"],
        overrides={"2026-12-14T10:00": {"starts": "2026-12-14T14:00", "minutes": 30}, "2026-12-21T10:00": None},
    )

    assert times() == [
        (utc(30, 15), utc(30, 15, 45)),
        (utc(1, 14, month=12), utc(1, 14, 45, month=12)),
        (utc(14, 19, month=12), utc(14, 19, 30, month=12)),
    ]


def test_an_outing_all_day_takes_the_local_day(arrowfen):
    therapy(arrowfen, kind="outing", starts="2026-12-02", minutes=1440, is_all_day=True)

    assert times() == [(utc(2, 5, month=12), utc(3, 5, month=12))]


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"rrule": "FREQ=SECONDLY"}, "A series repeats by day, week, month or year, not SECONDLY. Change it."),
        ({"starts": "1970-01-01T00:00"}, "It starts in 1970, more than 10 years away. Begin it again nearer to today."),
        ({"starts": "at ten"}, "That is not a date and time. Write it like 2026-11-30T10:30."),
        ({"timezone": "Nowhere/Fen"}, "“Nowhere/Fen” is not an IANA time zone. Write it like America/New_York."),
        ({"rrule": "FREQ=DAILY;BYHOUR=1,2,3,4,5,6"}, "This happens more than 2,000 times. Make a simpler series."),
        (
            {"overrides": {"2026-11-30T10:00": {"starts": "2026-11-30T11:00"}}},
            "A changed time says its start and its minutes, or is null where it is left out.",
        ),
        ({"minutes": 0}, "A commitment takes from one minute to 31 days."),
    ],
)
def test_what_cannot_be_meant_is_refused_and_leaves_nothing(arrowfen, fields, sentence):
    resident = arrowfen.resident()
    with pytest.raises(Refused) as refusal:
        therapy(arrowfen, resident, **fields)

    assert refusal.value.sentence == sentence
    assert resident.commitments.count() == 0


def test_a_change_makes_the_times_to_come_anew_and_leaves_those_gone_by(arrowfen, at):
    entry = therapy(arrowfen, rrule="FREQ=WEEKLY;COUNT=3")
    with at(MONDAY + timedelta(days=2)):
        change_commitment(commitment=entry, by=arrowfen.coordinator, version=1, starts="2026-11-30T11:00", minutes=30)

    assert times() == [
        (utc(30, 15), utc(30, 15, 45)),
        (utc(7, 16, month=12), utc(7, 16, 30, month=12)),
        (utc(14, 16, month=12), utc(14, 16, 30, month=12)),
    ]


def test_a_new_title_touches_no_time(arrowfen):
    entry = therapy(arrowfen, rrule=WEEKLY)
    before = set(CommitmentTime.objects.values_list("pk", flat=True))

    change_commitment(commitment=entry, by=arrowfen.coordinator, title="Speech", last_confirmed_on=date(2026, 11, 30))

    assert set(CommitmentTime.objects.values_list("pk", flat=True)) == before


def test_a_change_of_the_zone_moves_the_times(arrowfen):
    entry = therapy(arrowfen)

    change_commitment(commitment=entry, by=arrowfen.coordinator, timezone="America/Chicago")

    assert times() == [(utc(30, 16), utc(30, 16, 45))]


def test_an_ended_commitment_has_no_times_to_come_and_cannot_be_changed(arrowfen, at):
    entry = therapy(arrowfen, rrule=WEEKLY)
    with at(MONDAY + timedelta(days=1)):
        entry = end_commitment(commitment=entry, by=arrowfen.coordinator, version=1)
        with pytest.raises(Refused) as refusal:
            change_commitment(commitment=entry, by=arrowfen.coordinator, title="Speech")

    assert times() == [(utc(30, 15), utc(30, 15, 45))]
    assert refusal.value.sentence == "This entry has been taken out of the calendar. Add a new one."


def test_an_entry_of_the_same_uid_is_there_once(arrowfen):
    resident = arrowfen.resident()
    therapy(arrowfen, resident, uid="t@example.org")

    with pytest.raises(Refused) as refusal:
        therapy(arrowfen, resident, uid="t@example.org")

    assert refusal.value.sentence == "That entry is in the calendar already."


def test_a_commitment_changed_meanwhile_is_stale(arrowfen):
    with pytest.raises(Stale):
        end_commitment(commitment=therapy(arrowfen), by=arrowfen.coordinator, version=4)


def test_the_nightly_extension_makes_each_time_once(arrowfen, at):
    therapy(arrowfen, rrule=WEEKLY)
    therapy(arrowfen, starts="2028-01-20T10:00")
    before = len(times())
    with at(MONDAY + timedelta(days=21)):
        until = MONDAY + timedelta(days=421)
        made = [extend_times(building=arrowfen.building, until=until) for _ in range(2)]

    assert (before, made) == (58, [4, 0])
    assert times()[-1][0] == utc(24, 15, month=1, year=2028)


def test_another_margin_of_the_building_holds_for_all_times_to_come(arrowfen, at):
    therapy(arrowfen, rrule="FREQ=WEEKLY;COUNT=2")
    therapy(arrowfen, starts="2026-12-08T10:00", margin_before_minutes=5)
    with at(MONDAY + timedelta(days=2)):
        change_building(building=arrowfen.building, margin_minutes=20)

    assert [starts_at - blocks_from for starts_at, blocks_from in times("starts_at", "blocks_from")] == [
        timedelta(minutes=10),
        timedelta(minutes=20),
        timedelta(minutes=5),
    ]


def test_an_extension_is_no_change_of_anything_on_record(arrowfen):
    therapy(arrowfen, rrule=WEEKLY)
    before = Audit.objects.count()

    extend_times(building=arrowfen.building, until=MONDAY + timedelta(days=420))

    assert Audit.objects.count() == before


def test_a_new_entry_is_confirmed_today(arrowfen):
    assert therapy(arrowfen).last_confirmed_on == date(2026, 11, 30)


def test_an_unknown_field_is_refused(arrowfen):
    with pytest.raises(Invalid, match="“resident” cannot be changed here"):
        change_commitment(commitment=therapy(arrowfen), by=arrowfen.coordinator, resident=arrowfen.resident())
