from datetime import UTC, date, datetime

import pytest

from program.actions.shifts import add_shift, change_shift, end_shift, extend_shifts
from program.models import Role, Shift, ShiftTime
from program.rules.errors import Invalid, Refused, Stale
from tests import factories

MONDAY = date(2026, 11, 30)


def shift(house, **fields):
    told = {"user": house.aide, "first_on": MONDAY, "starts_minute": 480, "ends_minute": 720, "by": house.coordinator}
    return add_shift(building=house.building, **(told | fields))


def starts(*, of=None):
    times = ShiftTime.objects.order_by("starts_at")
    return list((times if of is None else times.filter(shift=of)).values_list("starts_at", flat=True))


def test_a_shift_takes_place_every_week_at_the_same_wall_clock_time(arrowfen):
    made = starts(of=shift(arrowfen))

    # New York is at UTC-5 until Sunday 14 March 2027 and at UTC-4 from then on.
    assert len(made) == 58
    assert made[0] == datetime(2026, 11, 30, 13, 0, tzinfo=UTC)
    assert made[14:16] == [datetime(2027, 3, 8, 13, 0, tzinfo=UTC), datetime(2027, 3, 15, 12, 0, tzinfo=UTC)]


def test_a_shift_may_take_place_once(arrowfen):
    assert starts(of=shift(arrowfen, last_on=MONDAY)) == [datetime(2026, 11, 30, 13, 0, tzinfo=UTC)]


def test_nobody_is_on_the_circuit_twice_and_the_day_is_named(arrowfen):
    shift(arrowfen, first_on=date(2026, 12, 7), last_on=date(2026, 12, 7))

    with pytest.raises(Refused) as refusal:
        shift(arrowfen)

    assert refusal.value.sentence == "Mon 7 Dec 08:00-12:00: that person is already on the circuit at that time."
    assert Shift.objects.count() == 1


def test_a_shift_in_another_building_counts_though_it_cannot_be_seen(arrowfen, brindlewharf):
    Role.objects.create(user=arrowfen.aide, kind="staff", building=brindlewharf.building, since=factories.LONG_AGO)
    shift(brindlewharf, user=arrowfen.aide, starts_minute=600, ends_minute=660)

    with pytest.raises(Refused, match="already on the circuit"):
        shift(arrowfen)


def test_somebody_without_a_role_here_has_no_shift_here(arrowfen, brindlewharf):
    with pytest.raises(Invalid, match="has no role in the care of residents in Arrowfen House"):
        shift(arrowfen, user=brindlewharf.aide)


def test_other_hours_from_a_day_on_end_the_old_shift_the_day_before(arrowfen):
    old = shift(arrowfen)

    new = change_shift(
        shift=old, from_on=date(2026, 12, 9), starts_minute=540, ends_minute=720, by=arrowfen.coordinator, version=1
    )

    old.refresh_from_db()
    assert (old.last_on, new.first_on) == (date(2026, 12, 8), date(2026, 12, 14))
    assert starts(of=old) == [datetime(2026, 11, 30, 13, 0, tzinfo=UTC), datetime(2026, 12, 7, 13, 0, tzinfo=UTC)]
    assert starts(of=new)[0] == datetime(2026, 12, 14, 14, 0, tzinfo=UTC)


def test_a_shift_that_has_not_begun_is_changed_as_a_whole(arrowfen):
    coming = shift(arrowfen, first_on=date(2026, 12, 7))

    same = change_shift(
        shift=coming, from_on=date(2026, 12, 7), starts_minute=540, ends_minute=720, by=arrowfen.coordinator
    )

    assert (same.pk, starts()[0], Shift.objects.count()) == (coming.pk, datetime(2026, 12, 7, 14, 0, tzinfo=UTC), 1)


def test_a_change_that_clashes_leaves_the_shift_as_it_was(arrowfen):
    old = shift(arrowfen)
    shift(arrowfen, first_on=date(2026, 12, 14), last_on=date(2026, 12, 14), starts_minute=780, ends_minute=840)
    before = starts()

    with pytest.raises(Refused, match="Mon 14 Dec 08:00-14:00"):
        change_shift(shift=old, from_on=MONDAY, starts_minute=480, ends_minute=840, by=arrowfen.coordinator)

    assert starts() == before


def test_the_past_is_not_changed(arrowfen):
    with pytest.raises(Invalid) as refusal:
        change_shift(
            shift=shift(arrowfen),
            from_on=date(2026, 11, 29),
            starts_minute=540,
            ends_minute=720,
            by=arrowfen.coordinator,
        )

    assert refusal.value.sentence == "2026-11-29 is over. A shift is changed from today on."


def test_a_shift_ends_after_its_last_day(arrowfen):
    ended = end_shift(shift=shift(arrowfen), last_on=MONDAY, by=arrowfen.coordinator, version=1)

    assert (ended.last_on, starts()) == (MONDAY, [datetime(2026, 11, 30, 13, 0, tzinfo=UTC)])


def test_a_shift_entered_by_mistake_is_taken_away_altogether(arrowfen):
    end_shift(shift=shift(arrowfen), last_on=date(2026, 11, 29), by=arrowfen.coordinator)

    assert starts() == []


def test_a_shift_changed_meanwhile_is_stale(arrowfen):
    with pytest.raises(Stale):
        end_shift(shift=shift(arrowfen), last_on=MONDAY, by=arrowfen.coordinator, version=3)


def test_the_nightly_extension_makes_each_time_once(arrowfen):
    weekly, once = shift(arrowfen), shift(arrowfen, first_on=date(2026, 12, 1), last_on=date(2026, 12, 1))
    weekly.times.order_by("starts_at").first().delete()

    made = [extend_shifts(building=arrowfen.building, until=date(2028, 1, 18)) for _ in range(2)]

    weekly.refresh_from_db()
    assert made == [2, 0]
    assert (weekly.made_until, weekly.version, len(starts(of=weekly)), len(starts(of=once))) == (
        date(2028, 1, 18),
        1,
        59,
        1,
    )


def test_a_shift_that_ends_is_not_lengthened_without_its_times(arrowfen):
    ending = shift(arrowfen, last_on=date(2026, 12, 14))

    with pytest.raises(Invalid) as refusal:
        end_shift(shift=ending, last_on=date(2026, 12, 21), by=arrowfen.coordinator)

    assert refusal.value.sentence == "This shift ends on 2026-12-14. Add a new one for the time after."


def test_times_that_have_been_worked_stay_when_a_shift_ends(arrowfen, at):
    standing = shift(arrowfen)
    with at(datetime(2026, 12, 9, 15, tzinfo=UTC)):
        with pytest.raises(Invalid) as refusal:
            end_shift(shift=standing, last_on=date(2026, 11, 30), by=arrowfen.coordinator)
        end_shift(shift=standing, last_on=date(2026, 12, 8), by=arrowfen.coordinator)

    assert refusal.value.sentence == "2026-11-30 is over. A shift is changed from today on."
    assert starts() == [datetime(2026, 11, 30, 13, 0, tzinfo=UTC), datetime(2026, 12, 7, 13, 0, tzinfo=UTC)]
