from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from program.actions.records import (
    NewLine,
    take_back_lines,
    write_lines,
)
from program.actions.sessions import book_sessions, give_up_sessions, rebook_session, withdraw_sessions
from program.actions.settling import settle_closed_day
from program.actions.unplanned import open_unplanned_session
from program.actions.wrong_resident import move_to_right_resident
from program.models import Session, Set, Slot
from program.rules.errors import Refused
from program.rules.states import State
from tests.conftest import MONDAY
from tests.program.actions.arranging import a_set, booked, booking, train

HALF_AN_HOUR = timedelta(minutes=30)


def utc(day, hour, minute=0, month=12):
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


# Monday to Friday, each exactly 48 hours after the end of the one before.
MON, WED, FRI = utc(30, 15, month=11), utc(2, 15, 30), utc(4, 16)
EVENING = utc(6, 1)


def spans(resident):
    held = Session.objects.filter(resident=resident).order_by("starts_at")
    return list(held.values_list("held_from", "held_until"))


def marks(resident):
    return list(Session.objects.filter(resident=resident).order_by("starts_at").values_list("is_cut", "is_too_soon"))


@pytest.fixture
def resident(arrowfen):
    return arrowfen.resident()


@pytest.fixture
def chain(arrowfen, resident):
    return [booked(arrowfen, resident, start) for start in (MON, WED, FRI)]


def test_bookings_hold_from_their_start_until_48_hours_after_their_end(chain, resident):
    assert spans(resident) == [(MON, WED), (WED, FRI), (FRI, utc(6, 16, 30))]
    assert marks(resident) == [(False, False)] * 3


def test_a_booking_too_soon_is_refused_never_trimmed(arrowfen, resident):
    booked(arrowfen, resident, MON)

    with pytest.raises(Refused) as refusal:
        booked(arrowfen, resident, WED - timedelta(minutes=6))

    assert refusal.value.problem == "too-soon"
    assert spans(resident) == [(MON, WED)]


def test_ending_four_minutes_late_overtakes_the_next_and_not_the_one_after(arrowfen, chain, resident, at):
    # Walk-through 9: a session of 10:00-10:30 ends 10:34.
    with at(MON + timedelta(hours=1)):
        train(arrowfen, chain[0], ended_at=MON + timedelta(minutes=34))

    late = WED + timedelta(minutes=4)
    assert spans(resident) == [(MON, late), (late, FRI), (FRI, utc(6, 16, 30))]
    assert [session.is_overtaken for session in Session.objects.order_by("starts_at")] == [False, True, False]


def test_a_chain_of_late_ends_passes_on_from_one_to_the_next(arrowfen, chain, resident, at):
    for session, start in zip(chain, (MON, WED + timedelta(minutes=4), FRI + timedelta(minutes=8)), strict=True):
        with at(start + timedelta(hours=1)):
            train(arrowfen, session, started_at=start, ended_at=start + timedelta(minutes=34))

    assert spans(resident) == [
        (MON, WED + timedelta(minutes=4)),
        (WED + timedelta(minutes=4), FRI + timedelta(minutes=8)),
        (FRI + timedelta(minutes=8), FRI + timedelta(hours=48, minutes=42)),
    ]
    assert marks(resident) == [(False, False)] * 3


def test_taking_a_late_set_back_gives_the_booking_its_time_back(arrowfen, chain, resident, at):
    with at(MON + timedelta(hours=1)):
        session = train(arrowfen, chain[0], ended_at=MON + timedelta(minutes=34))
        last = Set.objects.filter(session=session).order_by("-ended_at")[:1]
        take_back_lines(session=session, sets=last, because="typed twice", by=arrowfen.clinician)

    # What is left is the first set, which ended after 90 seconds.
    assert spans(resident)[:2] == [(MON, MON + timedelta(hours=48, seconds=90)), (WED, FRI)]
    assert Set.objects.filter(session=session).count() == 2


def test_a_fact_between_two_facts_takes_its_place_and_hides_neither(arrowfen, chain, resident, at):
    for session, start in zip(chain[:2], (MON, WED), strict=True):
        with at(start + timedelta(hours=1)):
            train(arrowfen, session, ended_at=start + HALF_AN_HOUR)
    tuesday = utc(1, 16)
    with at(EVENING):
        between = open_unplanned_session(resident=resident, starts_at=tuesday, ends_at=tuesday + HALF_AN_HOUR)
        train(arrowfen, between, ended_at=tuesday + HALF_AN_HOUR)

    assert spans(resident)[:3] == [(MON, tuesday), (tuesday, WED), (WED, FRI)]
    assert marks(resident)[:3] == [(True, False), (True, True), (False, True)]


def test_what_was_planned_in_one_order_and_happened_in_the_other_swaps_its_spans(arrowfen, resident, at):
    first, second = booked(arrowfen, resident, MON), booked(arrowfen, resident, WED)
    with at(EVENING):
        train(arrowfen, second, started_at=MON, ended_at=MON + HALF_AN_HOUR)
        train(arrowfen, first, started_at=WED, ended_at=WED + HALF_AN_HOUR)

    assert spans(resident) == [(WED, FRI), (MON, WED)]
    assert marks(resident) == [(False, False)] * 2


def test_what_was_written_for_the_wrong_resident_moves_and_both_histories_show_it(arrowfen, chain, resident, at):
    other = arrowfen.resident()
    right = booked(arrowfen, other, MON, first=1)
    with at(MON + timedelta(hours=1)):
        train(arrowfen, chain[0], ended_at=MON + timedelta(minutes=34))
        for _ in range(2):
            move_to_right_resident(session=chain[0], to=right, because="similar names", by=arrowfen.clinician)

    assert spans(resident)[:2] == [(MON, WED), (WED, FRI)]
    assert spans(other) == [(MON, WED + timedelta(minutes=4))]
    assert Set.objects.filter(session=chain[0], replaced_because="similar names").count() == 2
    assert Set.objects.counting().filter(session=right).count() == 2


def test_somebody_asleep_holds_their_time_until_the_day_closes(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON + timedelta(minutes=5)):
        asleep = NewLine("attempt", MON + timedelta(minutes=5), uuid4(), reason="asleep")
        write_lines(session=session, lines=[asleep], done_by=arrowfen.aide, entered_by=arrowfen.aide)
    before = spans(resident)
    # The house closes at 17:00 in New York.
    with at(utc(30, 22, month=11)):
        settled = settle_closed_day(building=arrowfen.building)
        again = settle_closed_day(building=arrowfen.building)

    session.refresh_from_db()
    assert (before, spans(resident)) == ([(MON, WED)], [(None, None)])
    assert (settled, again) == ([session], [])
    assert session.state_at(utc(30, 22, month=11)) is State.MISSED
    assert Slot.objects.filter(session=session, is_held=True).count() == 0


def test_what_nobody_wrote_about_holds_its_time_after_the_day_has_closed(arrowfen, resident, at):
    booked(arrowfen, resident, MON)
    with at(utc(30, 22, month=11)):
        settle_closed_day(building=arrowfen.building)

    assert spans(resident) == [(MON, WED)]


def test_paper_after_an_outage_counts_too_soon_once(arrowfen, at):
    # Walk-through 12.
    resident = arrowfen.resident()
    tuesday, thursday = booked(arrowfen, resident, utc(1, 15)), booked(arrowfen, resident, utc(3, 15, 30))
    thursday = rebook_earlier(arrowfen, thursday, utc(3, 15, 30))
    with at(utc(2, 21)):
        train(arrowfen, tuesday, ended_at=utc(1, 15, 30))
        wednesday = open_unplanned_session(resident=resident, starts_at=utc(2, 16), ends_at=utc(2, 16, 30))
        train(arrowfen, wednesday, ended_at=utc(2, 16, 30))

    thursday.refresh_from_db()
    assert spans(resident) == [(utc(1, 15), utc(2, 16)), (utc(2, 16), utc(4, 16, 30)), (utc(4, 16, 30), utc(5, 16))]
    assert [is_too_soon for _, is_too_soon in marks(resident)] == [False, True, False]
    assert thursday.is_overtaken


def rebook_earlier(house, session, start):
    return rebook_session(session=session, booking=booking(house, session.resident, start), by=house.coordinator)


def test_a_booking_keeps_the_part_that_a_fact_leaves_it(arrowfen, chain, resident, at):
    with at(WED + timedelta(minutes=50)):
        unplanned = open_unplanned_session(resident=resident, starts_at=WED, ends_at=WED + HALF_AN_HOUR)
        train(arrowfen, unplanned, started_at=WED + timedelta(minutes=6), ended_at=WED + timedelta(minutes=40))

    chain[1].refresh_from_db()
    assert (chain[1].held_from, chain[1].held_until, chain[1].is_cut) == (WED, WED + timedelta(minutes=6), True)


def test_a_booking_with_nothing_left_stays_published_and_holds_nothing(arrowfen, chain, resident, at):
    with at(WED + timedelta(minutes=50)):
        unplanned = open_unplanned_session(resident=resident, starts_at=WED, ends_at=WED + HALF_AN_HOUR)
        train(arrowfen, unplanned, started_at=WED - timedelta(minutes=6), ended_at=WED + timedelta(minutes=34))

    chain[1].refresh_from_db()
    assert (chain[1].held_from, chain[1].is_overtaken) == (None, True)
    assert chain[1].state_at(WED) is State.PUBLISHED


def test_what_held_nothing_holds_again_once_it_has_happened(arrowfen, chain, resident, at):
    with at(WED + timedelta(minutes=50)):
        unplanned = open_unplanned_session(resident=resident, starts_at=WED, ends_at=WED + HALF_AN_HOUR)
        train(arrowfen, unplanned, started_at=WED - timedelta(minutes=6), ended_at=WED + timedelta(minutes=34))
        train(arrowfen, chain[1], started_at=WED + timedelta(minutes=40), ended_at=WED + timedelta(minutes=45))

    chain[1].refresh_from_db()
    assert (chain[1].held_from, chain[1].is_too_soon) == (WED + timedelta(minutes=40), True)


def test_a_withdrawn_session_lets_go_and_another_takes_its_time(arrowfen, chain, resident):
    withdraw_sessions(sessions=[chain[1]], reason="planned again", by=arrowfen.coordinator)

    again = booked(arrowfen, resident, WED)

    assert (again.held_from, again.held_until) == (WED, FRI)


def test_a_session_given_up_by_mistake_has_its_stations_again(arrowfen, chain, resident):
    [session] = give_up_sessions(sessions=[chain[0]], reason="declined", by=arrowfen.aide)
    let_go = session.slots.filter(is_held=True).count()
    other = booked(arrowfen, arrowfen.resident(), MON + timedelta(minutes=24))

    take_back_lines(
        session=session, records=session.records.filter(kind="given up"), because="another", by=arrowfen.clinician
    )

    # This one is at E from 10:24, when the other begins at A.
    assert (let_go, session.slots.filter(is_held=True).count()) == (0, 5)
    assert spans(resident)[0] == (MON, WED)
    assert other.slots.filter(is_held=True).count() == 5


def test_a_station_that_somebody_has_taken_meanwhile_stays_theirs(arrowfen, chain):
    [session] = give_up_sessions(sessions=[chain[0]], reason="declined", by=arrowfen.aide)
    booked(arrowfen, arrowfen.resident(), MON + timedelta(minutes=6), first=1)

    take_back_lines(
        session=session, records=session.records.filter(kind="given up"), because="another", by=arrowfen.clinician
    )

    assert [slot.station.name for slot in session.slots.filter(is_held=True)] == ["A"]


def test_one_refused_booking_refuses_them_all_and_is_named(arrowfen, chain, resident):
    other = arrowfen.resident()
    bookings = [booking(arrowfen, other, WED, first=1), booking(arrowfen, resident, WED + HALF_AN_HOUR, first=2)]

    with pytest.raises(Refused) as refusal:
        book_sessions(building=arrowfen.building, bookings=bookings, by=arrowfen.coordinator)

    assert [clash["resident"] for clash in refusal.value.details["clashes"]] == [resident.pk]
    assert Session.objects.filter(resident=other).count() == 0


def test_a_set_sent_twice_in_one_batch_is_written_once(arrowfen, chain, at):
    with at(MON + timedelta(hours=1)):
        done = a_set(arrowfen, MON + timedelta(minutes=4))
        later = replace(done, ended_at=MON + timedelta(minutes=9))
        write_lines(session=chain[0], sets=[done, later], done_by=arrowfen.aide, entered_by=arrowfen.aide)
        session = write_lines(session=chain[0], sets=[done], done_by=arrowfen.aide, entered_by=arrowfen.aide)

    assert (session.sets_done, session.last_set_ended_at) == (1, MON + timedelta(minutes=4))


def test_recovery_holds_between_two_buildings(arrowfen, brindlewharf, at):
    moving = arrowfen.resident(until=MON + timedelta(hours=2))
    here = booked(arrowfen, moving, MON)
    stay = brindlewharf.resident(person=moving.person, since=MON + timedelta(hours=2))
    booked(brindlewharf, stay, WED)
    with at(MON + timedelta(hours=1)):
        train(arrowfen, here, ended_at=MON + timedelta(minutes=34))

    with pytest.raises(Refused) as refusal:
        booked(brindlewharf, stay, WED - timedelta(minutes=30))

    assert spans(stay) == [(WED + timedelta(minutes=4), FRI)]
    assert refusal.value.sentence == "That is too close to another session of the same person."


def test_the_future_cannot_be_written_down(arrowfen, chain):
    with pytest.raises(Refused) as refusal:
        train(arrowfen, chain[0], ended_at=MONDAY + timedelta(hours=9))

    assert refusal.value.problem == "in-the-future"
