"""Clocks that were reset, ids used twice, orders of sending, the wrong resident: none of it makes training unsafe."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from program import clock
from program.actions.incidents import report_warning_sign
from program.actions.records import NewLine, write_lines
from program.actions.sessions import give_up_sessions
from program.actions.starting import start_session
from program.actions.unplanned import write_unplanned
from program.actions.wrong_resident import move_to_right_resident
from program.models import Hold, Incident, Session, Set
from program.rules.errors import Invalid, Refused
from program.rules.states import State
from tests.conftest import House
from tests.program.actions.arranging import a_set, booked, train

TUE = datetime(2026, 12, 1, 15, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
RESET = datetime(1970, 1, 1, tzinfo=UTC)


def who(house: House) -> dict:
    return {"done_by": house.aide, "entered_by": house.aide}


def started(moment: datetime) -> NewLine:
    return NewLine(kind="started", happened_at=moment, event_id=uuid4())


def start(house: House, session: Session, moment: datetime, **more: object) -> Session:
    with clock.at(moment):
        told = {"event_id": uuid4(), "identified_by": "said their name", "by": house.aide} | more
        return start_session(session=session, **told)


@pytest.fixture
def trained(arrowfen: House) -> Session:
    """Somebody who trained on Tuesday until 10:30."""
    session = booked(arrowfen, arrowfen.resident(), TUE)
    with clock.at(TUE + 30 * MINUTE):
        return train(arrowfen, session, ended_at=TUE + 30 * MINUTE)


def test_a_start_by_a_clock_that_was_reset_is_now(arrowfen: House, trained: Session) -> None:
    saturday = TUE + timedelta(days=4)
    session = start(arrowfen, booked(arrowfen, trained.resident, saturday), saturday, happened_at=RESET)

    trained.refresh_from_db()
    assert (session.started_at, trained.is_too_soon) == (saturday, False)
    assert session.records.get(kind="started").phone_happened_at == RESET


def test_a_set_by_a_clock_that_is_days_behind_gives_no_recovery_away(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    start(arrowfen, session, TUE)
    with clock.at(TUE + 5 * MINUTE):
        told = write_lines(session=session, sets=[a_set(arrowfen, TUE - timedelta(days=3))], **who(arrowfen))

    assert (told.started_at, told.last_set_ended_at) == (TUE, TUE)
    assert told.held_until == TUE + timedelta(hours=48)


def test_a_line_of_another_year_is_refused_with_a_sentence(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    with clock.at(TUE + 5 * MINUTE), pytest.raises(Invalid, match="more than a week away"):
        write_lines(session=session, sets=[a_set(arrowfen, RESET)], **who(arrowfen))

    assert Set.objects.count() == 0


def test_a_sign_by_a_clock_that_was_reset_touches_no_session_of_the_past(arrowfen: House) -> None:
    resident = arrowfen.resident()
    unwritten = booked(arrowfen, resident, TUE)
    friday = TUE + timedelta(days=3)
    session = start(arrowfen, booked(arrowfen, resident, friday), friday)
    with clock.at(friday + 5 * MINUTE):
        told = {"sign": "pallor", "event_id": uuid4(), "happened_at": RESET}
        report_warning_sign(session=session, **told, **who(arrowfen))

    unwritten.refresh_from_db()
    assert unwritten.state_at(friday + 6 * MINUTE) is State.NOT_RECORDED
    assert Hold.objects.get().starts_at == friday + 5 * MINUTE


@pytest.mark.parametrize("is_start_first", [True, False])
def test_the_order_of_sending_changes_nothing_where_a_clock_is_slow(arrowfen: House, is_start_first: bool) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    slow = timedelta(seconds=100)
    done = a_set(arrowfen, TUE + timedelta(seconds=65) - slow, seconds=60)
    with clock.at(TUE + timedelta(seconds=70)):
        sendings = [
            {"lines": [started(TUE)], "sent_at": clock.now()},
            {"sets": [done], "sent_at": clock.now() - slow},
        ]
        for sending in sendings if is_start_first else reversed(sendings):
            told = write_lines(session=session, **sending, **who(arrowfen))

    assert (told.started_at, told.last_set_ended_at) == (TUE, TUE)


def test_a_slow_phone_at_the_first_allowed_second_is_not_too_soon(arrowfen: House, trained: Session) -> None:
    allowed = TUE + 30 * MINUTE + timedelta(hours=48)
    slow = {"happened_at": allowed - timedelta(seconds=95), "sent_at": allowed - timedelta(seconds=95)}
    session = booked(arrowfen, trained.resident, allowed)
    told = start(arrowfen, session, allowed + timedelta(seconds=5), **slow)
    with clock.at(allowed + 5 * MINUTE):
        told = write_lines(session=session, sets=[a_set(arrowfen, allowed + 5 * MINUTE)], **who(arrowfen))

    assert (told.started_at, told.is_too_soon) == (allowed, False)


def test_an_id_of_another_session_is_refused_and_nothing_is_lost_in_silence(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    other, third = booked(arrowfen, arrowfen.resident(), TUE, first=1), arrowfen.resident()
    done = a_set(arrowfen, TUE + 3 * MINUTE)
    with clock.at(TUE + 5 * MINUTE):
        write_lines(session=session, sets=[done], **who(arrowfen))
        with pytest.raises(Invalid, match="belongs to something else"):
            write_lines(session=other, sets=[done], **who(arrowfen))
        with pytest.raises(Invalid, match="belongs to something else"):
            write_unplanned(resident=third, starts_at=TUE, ends_at=TUE + 30 * MINUTE, sets=[done], **who(arrowfen))

    assert (Set.objects.count(), Session.objects.filter(resident=third).count()) == (1, 0)


def test_a_start_under_the_id_of_an_attempt_is_refused(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    attempt = NewLine(kind="attempt", happened_at=TUE, event_id=uuid4(), reason="asleep")
    with clock.at(TUE):
        write_lines(session=session, lines=[attempt], **who(arrowfen))
    with pytest.raises(Invalid, match="belongs to something else"):
        start(arrowfen, session, TUE + MINUTE, event_id=attempt.event_id)


def test_what_was_sent_before_changes_not_even_a_version(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    done = a_set(arrowfen, TUE + 3 * MINUTE)
    with clock.at(TUE + 5 * MINUTE):
        versions = [write_lines(session=session, sets=[done], **who(arrowfen)).version for _ in range(2)]

    assert versions[0] == versions[1]


def test_a_visit_of_which_nothing_is_told_is_none(arrowfen: House) -> None:
    with clock.at(TUE + 40 * MINUTE), pytest.raises(Invalid, match="Say what happened"):
        write_unplanned(resident=arrowfen.resident(), starts_at=TUE, ends_at=TUE + 30 * MINUTE, **who(arrowfen))

    assert Session.objects.count() == 0


def test_a_warning_sign_of_the_wrong_resident_goes_over_with_its_hold(arrowfen: House) -> None:
    wrong, right = arrowfen.resident(), arrowfen.resident()
    session, other = booked(arrowfen, wrong, TUE), booked(arrowfen, right, TUE, first=1)
    friday = booked(arrowfen, right, TUE + timedelta(days=3))
    start(arrowfen, session, TUE)
    with clock.at(TUE + 10 * MINUTE):
        told = {"sign": "chest pain", "event_id": uuid4(), "happened_at": TUE + 10 * MINUTE}
        report_warning_sign(session=session, **told, **who(arrowfen))
        move_to_right_resident(session=session, to=other, because="mixed up", by=arrowfen.coordinator)

    incident = Incident.objects.get()
    friday.refresh_from_db()
    assert (incident.resident, incident.session, incident.hold.resident) == (right, other, right)
    assert friday.withdrawn_at is not None
    # The wrong one's hold is a clinician's to release.
    assert set(Hold.objects.values_list("resident", flat=True)) == {wrong.pk, right.pk}


def test_what_did_not_happen_to_the_wrong_resident_goes_over_too(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    other = booked(arrowfen, arrowfen.resident(), TUE, first=1)
    with clock.at(TUE + 5 * MINUTE):
        give_up_sessions(sessions=[session], reason="declined", by=arrowfen.aide)
        moved = move_to_right_resident(session=session, to=other, because="mixed up", by=arrowfen.coordinator)
        states = [one.state_at(clock.now()) for one in moved]

    assert states == [State.PUBLISHED, State.GIVEN_UP]


def test_there_and_back_twice_is_no_clash_and_to_itself_is_refused(arrowfen: House, trained: Session) -> None:
    other = booked(arrowfen, arrowfen.resident(), TUE, first=1)
    with clock.at(TUE + 31 * MINUTE):
        for one, to in ((trained, other), (other, trained)) * 2:
            move_to_right_resident(session=one, to=to, because="mixed up", by=arrowfen.coordinator)
        with pytest.raises(Refused, match="another session"):
            move_to_right_resident(session=trained, to=trained, because="mixed up", by=arrowfen.coordinator)

    trained.refresh_from_db()
    assert trained.sets_done == 2


def test_there_must_be_something_to_move(arrowfen: House) -> None:
    session = booked(arrowfen, arrowfen.resident(), TUE)
    other = booked(arrowfen, arrowfen.resident(), TUE, first=1)

    with pytest.raises(Refused, match="Nothing is written"):
        move_to_right_resident(session=session, to=other, because="mixed up", by=arrowfen.coordinator)
