from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from program.actions.records import NewLine, write_lines
from program.actions.residents import change_resident, set_recovery
from program.actions.sessions import give_up_sessions, rebook_session, rebook_sessions
from program.actions.unplanned import open_unplanned_session
from program.actions.wrong_resident import move_to_right_resident
from program.models import PrescriptionLine, Resident, Session, Set, Slot
from program.rules.errors import Refused
from program.rules.states import State
from tests import factories
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


@pytest.fixture
def resident(arrowfen):
    return arrowfen.resident()


@pytest.fixture
def chain(arrowfen, resident):
    return [booked(arrowfen, resident, start) for start in (MON, WED, FRI)]


def moved_to(house, session, start):
    return rebook_session(session=session, booking=booking(house, session.resident, start), by=house.coordinator)


def test_a_session_given_up_cannot_be_moved(arrowfen, chain):
    give_up_sessions(sessions=[chain[0]], reason="declined", by=arrowfen.aide)

    with pytest.raises(Refused) as refusal:
        moved_to(arrowfen, chain[0], MON + timedelta(minutes=6))

    assert refusal.value.sentence == "This session is given up, so it cannot be moved."


def test_a_move_is_the_same_session_at_another_time(arrowfen, resident):
    session = booked(arrowfen, resident, MON)

    moved_to(arrowfen, session, MON + HALF_AN_HOUR)

    assert spans(resident) == [(MON + HALF_AN_HOUR, WED + HALF_AN_HOUR)]
    moved = session.records.get(kind="moved")
    assert (moved.moved_from_starts_at, moved.moved_from_ends_at) == (MON, MON + HALF_AN_HOUR)


def test_a_visit_that_nobody_planned_takes_nothing_until_it_has_happened(arrowfen, chain, resident, at):
    with at(MON - timedelta(hours=1)):
        unplanned = open_unplanned_session(resident=resident, starts_at=MON - timedelta(hours=2), ends_at=MON)
        empty = write_lines(session=unplanned, done_by=arrowfen.aide, entered_by=arrowfen.aide)

        assert (empty.held_from, empty.state_at(MON)) == (None, State.ENDED_WITHOUT_A_SET)
    assert spans(resident)[1] == (MON, WED)


def test_a_visit_that_was_another_residents_holds_nothing_any_more(arrowfen, chain, at):
    wrong = arrowfen.resident()
    with at(MON + timedelta(hours=1)):
        unplanned = open_unplanned_session(resident=wrong, starts_at=MON, ends_at=MON + HALF_AN_HOUR)
        train(arrowfen, unplanned, ended_at=MON + timedelta(minutes=34))
        move_to_right_resident(session=unplanned, to=chain[0], because="similar names", by=arrowfen.clinician)

    assert spans(wrong) == [(None, None)]
    assert Session.objects.get(pk=unplanned.pk).state_at(EVENING) is State.ENDED_WITHOUT_A_SET
    assert booked(arrowfen, wrong, WED - timedelta(hours=2), first=1).held_from == WED - timedelta(hours=2)


@pytest.mark.parametrize(
    ("starts_at", "ends_at", "problem"),
    [(WED, WED + HALF_AN_HOUR, "in-the-future"), (MON, MON, "invalid"), (MON, MON + 25 * 2 * HALF_AN_HOUR, "invalid")],
)
def test_an_unplanned_visit_is_one_that_has_begun_and_ends(arrowfen, resident, at, starts_at, ends_at, problem):
    with at(MON + timedelta(hours=1)), pytest.raises(Refused) as refusal:
        open_unplanned_session(resident=resident, starts_at=starts_at, ends_at=ends_at)

    assert refusal.value.problem == problem


def test_a_set_moved_to_the_right_resident_is_no_part_of_the_wrong_ones_plan(arrowfen, chain, resident, at):
    right = booked(arrowfen, arrowfen.resident(), MON, first=1)
    line = PrescriptionLine.objects.filter(prescription=chain[0].prescription).first()
    with at(MON + timedelta(hours=1)):
        done = replace(a_set(arrowfen, MON + timedelta(minutes=4)), line=line)
        write_lines(session=chain[0], sets=[done], done_by=arrowfen.aide, entered_by=arrowfen.aide)
        move_to_right_resident(session=chain[0], to=right, because="similar names", by=arrowfen.clinician)

    assert [done.line for done in Set.objects.order_by("pk")] == [line, None]


def test_two_sessions_of_a_person_move_at_once_each_past_the_other(arrowfen, resident):
    first, second = booked(arrowfen, resident, MON), booked(arrowfen, resident, WED)

    rebook_sessions(
        moves=[
            (first, booking(arrowfen, resident, WED + HALF_AN_HOUR)),
            (second, booking(arrowfen, resident, FRI + HALF_AN_HOUR + HALF_AN_HOUR)),
        ],
        by=arrowfen.coordinator,
    )

    assert spans(resident) == [(WED + HALF_AN_HOUR, FRI + HALF_AN_HOUR), (utc(4, 17), utc(6, 17, 30))]


def test_two_sessions_take_each_others_place(arrowfen, resident):
    mine, yours = booked(arrowfen, resident, MON), booked(arrowfen, arrowfen.resident(), WED)

    rebook_sessions(
        moves=[(mine, booking(arrowfen, mine.resident, WED)), (yours, booking(arrowfen, yours.resident, MON))],
        by=arrowfen.coordinator,
    )

    assert list(Session.objects.order_by("pk").values_list("starts_at", flat=True)) == [WED, MON]
    assert Slot.objects.filter(is_held=True).count() == 10


def test_a_session_of_a_day_gone_by_is_not_moved(arrowfen, chain, at):
    with at(MON + timedelta(days=1)), pytest.raises(Refused) as refusal:
        moved_to(arrowfen, chain[0], WED)

    assert refusal.value.sentence == (
        "This session is not recorded, so it cannot be moved. Enter what happened, or give it up with the reason."
    )


def test_a_session_whose_start_has_passed_stays_on_its_day(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON + timedelta(hours=1)):
        with pytest.raises(Refused) as refusal:
            moved_to(arrowfen, session, WED)
        later = moved_to(arrowfen, session, MON + timedelta(hours=2))

    assert refusal.value.sentence == (
        "This session should have begun on Mon 30 Nov 10:00. Give it up with the reason, then book another."
    )
    assert later.starts_at == MON + timedelta(hours=2)


def test_an_attempt_stands_when_the_session_moves_to_later_that_day(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON + timedelta(minutes=5)):
        asleep = NewLine("attempt", MON + timedelta(minutes=5), uuid4(), reason="asleep")
        write_lines(session=session, lines=[asleep], done_by=arrowfen.aide, entered_by=arrowfen.aide)
        moved = moved_to(arrowfen, session, MON + timedelta(hours=2))

    assert moved.state_at(EVENING) is State.MISSED


def test_a_booking_has_the_recovery_that_stands_when_it_is_written(arrowfen, resident):
    read_before = Resident.objects.get(pk=resident.pk)
    set_recovery(resident=resident, hours=Decimal(72), by=arrowfen.clinician)

    session = booked(arrowfen, read_before, MON)

    assert (session.recovery_hours, session.held_until) == (72, MON + HALF_AN_HOUR + timedelta(hours=72))


def test_a_moved_session_has_the_help_and_the_plan_by_which_its_new_time_was_found(arrowfen, resident):
    session = booked(arrowfen, resident, MON)
    change_resident(resident=resident, help_sixths=6, escort_people=1, escort_minutes=6)
    newer = factories.PrescriptionFactory(
        building=arrowfen.building, resident=resident, number=2, entered_by=arrowfen.clinician
    )

    moved = moved_to(arrowfen, session, WED)

    assert (moved.help_sixths, moved.escort_sixths, moved.escort_minutes) == (6, 6, 6)
    assert moved.prescription == newer
