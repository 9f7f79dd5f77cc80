"""A warning sign ends the session, holds the resident and waits for a clinician, who sees it once."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from program.actions.incidents import report_warning_sign, see_incident
from program.actions.safety import end_hold
from program.actions.starting import readiness_of
from program.models import Hold, Incident, Record, Session
from program.rules.errors import Invalid, Refused, Stale
from program.rules.states import State
from tests.program.actions.arranging import booked, train

# Walk-through 15: Tuesday 13:40, by the clock of the house.
TUE = datetime(2026, 12, 1, 18, 30, tzinfo=UTC)
SIGN_AT = TUE + timedelta(minutes=10)
THURSDAY = TUE + timedelta(days=2)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def resident(arrowfen):
    return arrowfen.resident()


@pytest.fixture
def session(arrowfen, resident):
    return booked(arrowfen, resident, TUE)


def report(house, session, **more):
    fields = {"sign": "chest pain", "event_id": uuid4(), "happened_at": SIGN_AT} | more
    return report_warning_sign(session=session, done_by=house.aide, entered_by=house.aide, **fields)


def test_walk_through_15_the_session_ends_its_sets_stay_and_the_hold_has_no_end(arrowfen, resident, session, at):
    thursday = booked(arrowfen, resident, THURSDAY + 60 * MINUTE)
    with at(SIGN_AT):
        train(arrowfen, session, ended_at=SIGN_AT - 2 * MINUTE)
        incident = report(arrowfen, session)

    session.refresh_from_db()
    thursday.refresh_from_db()
    hold = Hold.objects.get(resident=resident)
    assert (session.state_at(SIGN_AT), session.sets_done, session.ended_at) == (State.DONE, 2, SIGN_AT)
    assert (incident.sign, incident.happened_at, incident.seen_at, incident.hold) == ("chest pain", SIGN_AT, None, hold)
    assert (hold.kind, hold.reason, hold.starts_at, hold.ends_at) == (
        "clinical",
        "warning sign: chest pain",
        SIGN_AT,
        None,
    )
    assert thursday.state_at(SIGN_AT) is State.WITHDRAWN


def test_the_same_report_sent_twice_is_one_incident_and_one_hold(arrowfen, session, at):
    tap = uuid4()
    with at(SIGN_AT):
        told = [report(arrowfen, session, event_id=tap) for _ in range(2)]

    assert told[0] == told[1]
    assert (Incident.objects.count(), Hold.objects.count(), Record.objects.filter(kind="ended").count()) == (1, 1, 1)


def test_a_report_with_the_number_of_another_session_is_not_answered_with_that_ones_incident(arrowfen, session, at):
    other, tap = booked(arrowfen, arrowfen.resident(), TUE, first=1), uuid4()
    with at(SIGN_AT):
        report(arrowfen, other, event_id=tap)
        with pytest.raises(Refused):
            report(arrowfen, session, event_id=tap)


def test_after_a_sign_nobody_starts_before_a_clinician_has_released(arrowfen, resident, session, at):
    with at(SIGN_AT):
        incident = report(arrowfen, session)
    another = Session.objects.get(pk=session.pk)
    with at(SIGN_AT + MINUTE):
        assert "hold" in [one.rule for one in readiness_of(session=another).missing]
        see_incident(incident=incident, by=arrowfen.clinician)
        end_hold(hold=incident.hold, by=arrowfen.clinician)
    with at(SIGN_AT + 2 * MINUTE):
        assert "hold" not in [one.rule for one in readiness_of(session=another).missing]


def test_what_is_no_warning_sign_is_refused_and_nothing_is_written(arrowfen, session, at):
    with at(SIGN_AT), pytest.raises(Invalid) as refusal:
        report(arrowfen, session, sign="tired")

    assert refusal.value.sentence == (
        "Say what was seen: chest pain, dizziness, breathlessness, sudden pain, pallor, near-faint."
    )
    assert (Incident.objects.count(), Hold.objects.count()) == (0, 0)


def test_a_sign_is_never_refused_for_its_time_and_what_lies_ahead_is_taken_as_now(arrowfen, session, at):
    with at(SIGN_AT - MINUTE):
        incident = report(arrowfen, session)

    assert (incident.happened_at, incident.phone_happened_at) == (SIGN_AT - MINUTE, SIGN_AT)
    assert incident.hold.starts_at == SIGN_AT - MINUTE


def test_a_phone_that_is_seven_minutes_fast_tells_both_times(arrowfen, session, at):
    fast = 7 * MINUTE
    with at(SIGN_AT + 20 * MINUTE):
        incident = report(arrowfen, session, happened_at=SIGN_AT + fast, sent_at=SIGN_AT + 20 * MINUTE + fast)

    ended = Record.objects.get(kind="ended")
    assert (incident.happened_at, incident.phone_happened_at) == (SIGN_AT, SIGN_AT + fast)
    assert incident.hold.starts_at == SIGN_AT
    assert (ended.happened_at, ended.phone_happened_at) == (SIGN_AT, SIGN_AT + fast)


def test_sets_that_arrive_after_the_sign_still_count(arrowfen, session, at):
    with at(SIGN_AT):
        report(arrowfen, session)
    with at(SIGN_AT + 30 * MINUTE):
        done = train(arrowfen, session, ended_at=SIGN_AT - MINUTE)

    assert (done.state_at(SIGN_AT + 30 * MINUTE), done.sets_done) == (State.DONE, 2)


def test_a_clinician_sees_it_once_and_the_hold_stays(arrowfen, session, at):
    with at(SIGN_AT):
        incident = report(arrowfen, session)
    with at(SIGN_AT + 12 * MINUTE):
        seen = see_incident(incident=incident, by=arrowfen.clinician, note="seen at the bedside", version=1)
        with pytest.raises(Refused) as refusal:
            see_incident(incident=Incident.objects.get(), by=arrowfen.clinician)

    assert (seen.seen_by, seen.seen_at, seen.seen_note) == (
        arrowfen.clinician,
        SIGN_AT + 12 * MINUTE,
        "seen at the bedside",
    )
    assert refusal.value.problem == "already-seen"
    assert Hold.objects.get().ends_at is None


def test_two_clinicians_who_looked_at_the_same_moment_are_not_both_the_one_who_saw_it(arrowfen, session, at):
    with at(SIGN_AT):
        incident = report(arrowfen, session)
        first, second = Incident.objects.get(pk=incident.pk), Incident.objects.get(pk=incident.pk)
        see_incident(incident=first, by=arrowfen.clinician)
        with pytest.raises(Stale):
            see_incident(incident=second, by=arrowfen.coordinator)

    assert Incident.objects.get().seen_by == arrowfen.clinician


def test_a_hold_behind_an_incident_is_released_once_somebody_has_seen_to_it(arrowfen, session, at):
    with at(SIGN_AT):
        incident = report(arrowfen, session)
        with pytest.raises(Refused, match="Nobody has seen to the incident"):
            end_hold(hold=incident.hold, by=arrowfen.clinician)
        see_incident(incident=incident, by=arrowfen.clinician)
        with at(SIGN_AT + MINUTE):
            assert end_hold(hold=incident.hold, by=arrowfen.clinician).ends_at == SIGN_AT + MINUTE
