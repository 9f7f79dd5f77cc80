"""Starting a session: refused with everything that is missing, judged under the lock, once."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from program.actions.places import close
from program.actions.records import NewLine, write_lines
from program.actions.safety import set_hold
from program.actions.starting import readiness_of, start_session
from program.models import Clearance, Record, Session
from program.rules.errors import Invalid, Refused
from program.rules.states import State
from tests import factories
from tests.program.actions.arranging import booked, train

MON, WED = datetime(2026, 11, 30, 15, 0, tzinfo=UTC), datetime(2026, 12, 2, 15, 30, tzinfo=UTC)
MINUTE, SECOND = timedelta(minutes=1), timedelta(seconds=1)
BY_NAME = "said their name"


@pytest.fixture
def resident(arrowfen):
    return arrowfen.resident(given_name="Rose", family_name="Oak")


def start(house, session, **more):
    fields = {"event_id": uuid4(), "identified_by": BY_NAME, "by": house.aide} | more
    return start_session(session=session, **fields)


def rules_missing(session):
    return [one.rule for one in readiness_of(session=session).missing]


def test_a_start_says_who_began_it_when_and_how_the_resident_was_known(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON + MINUTE):
        begun = start(arrowfen, session)

    line = Record.objects.get(kind="started")
    assert (begun.started_at, begun.state_at(MON + MINUTE)) == (MON + MINUTE, State.STARTED)
    assert (line.done_by, line.entered_by, line.identified_by) == (arrowfen.aide, arrowfen.aide, BY_NAME)


def test_the_same_start_sent_twice_is_one(arrowfen, resident, at):
    session, tap = booked(arrowfen, resident, MON), uuid4()
    with at(MON):
        start(arrowfen, session, event_id=tap)
    with at(MON + 5 * MINUTE):
        again = start(arrowfen, session, event_id=tap)

    assert (again.started_at, Record.objects.filter(kind="started").count()) == (MON, 1)


def test_another_start_of_a_session_that_has_begun_is_refused(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON):
        start(arrowfen, session)
        with pytest.raises(Refused) as refusal:
            start(arrowfen, session)

    assert (refusal.value.problem, refusal.value.sentence) == ("cannot-start", "It was started at 10:00 already.")


def test_walk_through_9_the_second_before_recovery_is_refused_and_the_next_one_begins(arrowfen, resident, at):
    monday, wednesday = booked(arrowfen, resident, MON), booked(arrowfen, resident, WED)
    with at(MON + 40 * MINUTE):
        train(arrowfen, monday, ended_at=MON + 34 * MINUTE)
    recovered = MON + timedelta(days=2) + 34 * MINUTE
    with at(recovered - SECOND), pytest.raises(Refused) as refusal:
        start(arrowfen, wednesday)
    with at(recovered):
        begun = start(arrowfen, wednesday)

    assert refusal.value.details == {
        "missing": [
            {
                "rule": "too soon",
                "sentence": "Too soon after the session before: Rose Oak may start from Wed 10:34.",
            }
        ],
        "allowed_from": recovered,
    }
    assert (begun.started_at, begun.is_too_soon) == (recovered, False)


def test_everything_missing_is_told_and_no_time_where_time_alone_does_not_help(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    Clearance.objects.filter(resident=resident).update(withdrawn_at=MON)
    with at(MON + 30 * MINUTE):
        set_hold(resident=resident, kind="clinical", reason="dizzy", starts_at=MON + 30 * MINUTE, by=arrowfen.aide)
        ready = readiness_of(session=session)

        assert [one.rule for one in ready.missing] == ["no clearance", "hold"]
        assert ready.allowed_from is None
        with pytest.raises(Refused) as refusal:
            start(arrowfen, session)
    assert refusal.value.sentence == "This session is withdrawn. Book another one."


def test_a_closed_unit_stops_a_start_and_a_station_out_of_order_is_a_warning(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON):
        close(building=arrowfen.building, station=arrowfen.stations[4], reason="other", starts_at=MON, by=arrowfen.aide)
        warned = readiness_of(session=Session.objects.get(pk=session.pk))
        close(building=arrowfen.building, unit=arrowfen.unit, reason="outbreak", starts_at=MON, by=arrowfen.aide)

        assert warned.missing == ()
        assert rules_missing(session) == ["closed"]


def test_too_little_help_and_an_early_hour_are_warnings_and_never_refuse(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON - 30 * MINUTE):
        ready = readiness_of(session=session)
        begun = start(arrowfen, session)

    assert ready.missing == ()
    assert ready.warnings == (
        "Planned for 10:00: this is early.",
        "Nobody is on the circuit now, too few for everybody at the stations together with this resident.",
    )
    assert begun.started_at == MON - 30 * MINUTE


def test_with_an_aide_there_help_is_no_warning(arrowfen, resident, at):
    factories.on_the_circuit(arrowfen.building, arrowfen.aide, MON.date(), 8 * 60, 17 * 60)
    session = booked(arrowfen, resident, MON)
    with at(MON):
        assert readiness_of(session=session).warnings == ()


def test_residents_with_a_similar_name_are_named(arrowfen, resident):
    session = booked(arrowfen, resident, MON)
    alike = arrowfen.resident(given_name="Rose", family_name="Oakes")
    arrowfen.resident(given_name="Ted", family_name="Vale")

    assert readiness_of(session=session).similar == (alike,)


def test_who_is_at_the_stations_in_another_session_cannot_start_a_second(arrowfen, resident, at):
    first, second = booked(arrowfen, resident, MON), booked(arrowfen, resident, WED)
    with at(MON):
        start(arrowfen, first)
        # Moved, by hand, onto the same day: no booking could.
        second.starts_at = MON + 60 * MINUTE

        assert rules_missing(second) == ["at the stations"]


def test_how_the_resident_was_known_must_be_one_of_the_ways(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON), pytest.raises(Invalid) as refusal:
        start(arrowfen, session, identified_by="looked right")

    assert refusal.value.sentence == (
        "Make sure that this is the right person, and say how: "
        "said their name, date of birth, known by sight and photo."
    )


def test_a_phone_whose_clock_is_fast_starts_at_the_time_of_the_house(arrowfen, resident, at):
    session, fast = booked(arrowfen, resident, MON), 7 * MINUTE
    with at(MON + 2 * MINUTE):
        begun = start(arrowfen, session, happened_at=MON + MINUTE + fast, sent_at=MON + 2 * MINUTE + fast)

    line = Record.objects.get(kind="started")
    assert (begun.started_at, line.phone_happened_at) == (MON + MINUTE, MON + MINUTE + fast)


def test_a_start_without_its_own_time_is_now_whatever_the_phone_says(arrowfen, resident, at):
    session = booked(arrowfen, resident, MON)
    with at(MON):
        begun = start(arrowfen, session, sent_at=MON + 7 * MINUTE)

    assert (begun.started_at, Record.objects.get(kind="started").phone_happened_at) == (MON, None)


def test_the_number_of_another_sessions_start_begins_nothing_in_silence(arrowfen, resident, at):
    other, session, tap = booked(arrowfen, arrowfen.resident(), MON), booked(arrowfen, resident, MON, first=1), uuid4()
    with at(MON):
        start(arrowfen, other, event_id=tap)
        with pytest.raises(Refused):
            start(arrowfen, session, event_id=tap)

    session.refresh_from_db()
    assert session.started_at is None


def test_what_began_without_being_asked_here_is_written_and_marked_too_soon(arrowfen, resident, at):
    monday, wednesday = booked(arrowfen, resident, MON), booked(arrowfen, resident, WED)
    with at(MON + 40 * MINUTE):
        train(arrowfen, monday, ended_at=MON + 34 * MINUTE)
    with at(WED + 40 * MINUTE):
        begun = NewLine("started", WED, uuid4())
        done = train(arrowfen, wednesday, ended_at=WED + 30 * MINUTE)
        told = write_lines(session=done, lines=[begun], done_by=arrowfen.aide, entered_by=arrowfen.aide)

    assert (told.started_at, told.is_too_soon) == (WED, True)


def test_a_turn_before_its_time_is_not_early(arrowfen, resident, at):
    factories.on_the_circuit(arrowfen.building, arrowfen.aide, MON.date(), 8 * 60, 17 * 60)
    session = booked(arrowfen, resident, MON)
    with at(MON - 6 * MINUTE):
        assert readiness_of(session=session).warnings == ()
