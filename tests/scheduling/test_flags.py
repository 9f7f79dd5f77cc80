"""Each kind of flag: raised when it is true, one a cause, gone by itself."""

from datetime import date, datetime, timedelta

import pytest

from program import clock
from program.actions.places import close
from program.actions.safety import set_hold
from program.models import Clearance, Resident
from scheduling.models import Flag
from tests import factories
from tests.conftest import House
from tests.program.actions.arranging import booked
from tests.program.api.arranging import at
from tests.scheduling.flagging import attempt, flags, gave_up, refreshed, told, trained

MONDAY = date(2026, 11, 30)


@pytest.fixture
def manned(arrowfen: House) -> House:
    for offset in range(6):
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, MONDAY + timedelta(days=offset), 480, 1020)
    return arrowfen


def nine(house: House, days: int = 0) -> datetime:
    return at(house, days, 9 * 60)


def test_a_session_is_late_strictly_after_the_grace(manned: House) -> None:
    session = booked(manned, manned.resident(), nine(manned))
    grace = timedelta(minutes=30)

    with clock.at(nine(manned) + grace):
        assert flags(manned, "late") == []
    with clock.at(nine(manned) + grace + timedelta(minutes=1)):
        (flag,) = flags(manned, "late")

    assert (flag.cause, flag.owner) == (f"session:{session.pk}", "staff")
    assert (flag.sessions, flag.residents) == ([session.pk], [session.resident_id])
    assert (flag.since, flag.due_at) == (nine(manned) + grace, at(manned, 0, 17 * 60))


def test_a_late_session_that_starts_or_is_given_up_is_late_no_more(manned: House) -> None:
    done, lost = (booked(manned, manned.resident(), nine(manned) + timedelta(hours=hours)) for hours in (0, 1))
    with clock.at(at(manned, 0, 11 * 60)):
        assert len(flags(manned, "late")) == 2
    trained(manned, done, at(manned, 0, 11 * 60))
    gave_up(manned, lost, at(manned, 0, 11 * 60), "declined")

    with clock.at(at(manned, 0, 12 * 60)):
        assert flags(manned, "late") == []
    assert {flag.closed_at for flag in Flag.objects.filter(kind="late")} == {at(manned, 0, 12 * 60)}


def test_while_nobody_is_on_the_circuit_all_that_is_late_is_one_flag(arrowfen: House) -> None:
    sessions = [booked(arrowfen, arrowfen.resident(), nine(arrowfen) + timedelta(hours=hours)) for hours in range(2)]

    with clock.at(at(arrowfen, 0, 11 * 60)):
        (flag,) = flags(arrowfen, "late")

    assert (flag.cause, flag.sessions) == ("nobody on the circuit", [session.pk for session in sessions])


def test_one_aide_away_is_one_flag_for_all_that_it_took(manned: House) -> None:
    sessions = [booked(manned, manned.resident(), nine(manned) + timedelta(hours=hours)) for hours in range(3)]
    for session in sessions[:2]:
        gave_up(manned, session, nine(manned), "no staff")
    gave_up(manned, sessions[2], nine(manned), "declined")

    assert told(manned, "missed") == [
        ("missed", "no staff:2026-11-30"),
        ("missed", f"session:{sessions[2].pk}"),
    ]
    shared = Flag.objects.get(cause="no staff:2026-11-30")
    assert (shared.sessions, shared.due_at) == ([session.pk for session in sessions[:2]], at(manned, 7, 0))


def test_what_was_booked_again_is_missed_no_longer(manned: House) -> None:
    resident = manned.resident(sessions_a_week=1)
    gave_up(manned, booked(manned, resident, nine(manned)), nine(manned), "unwell")
    with clock.at(nine(manned)):
        assert len(flags(manned, "missed")) == 1
        booked(manned, resident, nine(manned, 3))
        assert flags(manned, "missed", "due") == []


def test_an_attempt_is_missed_when_the_day_has_closed_and_next_week_it_is_no_more(manned: House) -> None:
    session = booked(manned, manned.resident(), nine(manned))
    attempt(manned, session, nine(manned))

    with clock.at(at(manned, 0, 17 * 60) - timedelta(seconds=1)):
        assert told(manned, "missed") == []
    with clock.at(at(manned, 0, 17 * 60)):
        assert told(manned, "missed") == [("missed", f"session:{session.pk}")]
    with clock.at(at(manned, 7, 0)):
        assert told(manned, "missed") == []


def test_what_was_not_recorded_is_waited_for_until_the_next_open_day_has_ended(manned: House) -> None:
    """Open from Monday to Saturday: Saturday's sessions are waited for until Monday evening."""
    session = booked(manned, manned.resident(), nine(manned, 5))

    with clock.at(at(manned, 5, 17 * 60)):
        (flag,) = flags(manned, "not recorded")
    with clock.at(at(manned, 7, 17 * 60) - timedelta(seconds=1)):
        assert len(flags(manned, "not recorded")) == 1
    with clock.at(at(manned, 7, 17 * 60)):
        assert flags(manned, "not recorded") == []

    assert (flag.cause, flag.sessions) == ("2026-12-05", [session.pk])
    assert (flag.due_at, flag.owner) == (at(manned, 7, 17 * 60), "staff")


def test_a_day_on_which_the_building_is_closed_is_no_open_day(manned: House) -> None:
    booked(manned, manned.resident(), nine(manned))
    close(
        building=manned.building,
        reason="outbreak",
        starts_at=at(manned, 1, 0),
        ends_at=at(manned, 3, 0),
        by=manned.coordinator,
    )

    with clock.at(at(manned, 2, 18 * 60)):
        assert [flag.due_at for flag in flags(manned, "not recorded")] == [at(manned, 3, 17 * 60)]


def test_a_resident_is_due_while_the_week_holds_less_than_is_prescribed(manned: House) -> None:
    resident = manned.resident()
    (flag,) = flags(manned, "due")
    booked(manned, resident, nine(manned))

    assert (flag.cause, flag.residents) == (f"resident:{resident.pk}:2026-W49", [resident.pk])
    assert (flag.since, flag.due_at) == (at(manned, 0, 0), at(manned, 7, 0))
    assert len(flags(manned, "due")) == 1
    booked(manned, resident, nine(manned, 3))
    assert flags(manned, "due") == []


def test_a_missed_session_explains_the_gap_that_it_makes(manned: House) -> None:
    resident = manned.resident(sessions_a_week=1)
    assert len(flags(manned, "due")) == 1
    gave_up(manned, booked(manned, resident, nine(manned)), nine(manned), "declined")

    with clock.at(nine(manned)):
        assert [flag.kind for flag in flags(manned, "due", "missed")] == ["missed"]


@pytest.mark.parametrize(
    "fields",
    [
        {"enrolled_at": None},
        {"until": datetime.fromisoformat("2026-11-29T00:00:00+00:00")},
        {"agreement_withdrawn_at": datetime.fromisoformat("2026-11-29T00:00:00+00:00")},
    ],
    ids=["not in the programme", "left", "agreement withdrawn"],
)
def test_nobody_is_due_or_overdue_who_is_not_asked_to_train(manned: House, fields: dict[str, object]) -> None:
    resident = manned.resident()
    assert [flag.kind for flag in flags(manned)] == ["overdue", "due"]

    Resident.objects.filter(pk=resident.pk).update(**fields)

    assert flags(manned) == []


@pytest.mark.parametrize(("kind", "reason"), [("clinical", "fall"), ("away", "leave")])
def test_on_hold_or_away_nobody_is_due_or_overdue(manned: House, kind: str, reason: str) -> None:
    resident = manned.resident()
    assert [flag.kind for flag in flags(manned)] == ["overdue", "due"]

    set_hold(resident=resident, kind=kind, reason=reason, starts_at=clock.now(), by=manned.coordinator)

    assert flags(manned) == []


def test_an_expired_clearance_stops_no_clock(manned: House) -> None:
    manned.resident()
    Clearance.objects.update(until_on=date(2026, 11, 1))

    assert [flag.kind for flag in flags(manned, "overdue")] == ["overdue"]


def test_overdue_counts_from_the_real_end_and_leaves_holds_out(manned: House) -> None:
    """120 hours from Monday 09:30 are Saturday 09:30; a day on hold makes it Sunday."""
    resident = manned.resident()
    trained(manned, booked(manned, resident, nine(manned)), nine(manned))
    end = nine(manned) + timedelta(minutes=30)
    set_hold(
        resident=resident,
        kind="clinical",
        reason="fall",
        starts_at=end + timedelta(hours=20),
        ends_at=end + timedelta(hours=44),
        by=manned.coordinator,
    )

    with clock.at(end + timedelta(hours=144)):
        assert flags(manned, "overdue") == []
    with clock.at(end + timedelta(hours=150)):
        assert [flag.since for flag in flags(manned, "overdue")] == [end + timedelta(hours=144)]


def test_three_missed_in_a_row_interrupt(manned: House) -> None:
    resident = manned.resident()
    sessions = [booked(manned, resident, nine(manned, days)) for days in (0, 3, 7)]
    for session, days in zip(sessions, (0, 3, 7), strict=True):
        attempt(manned, session, nine(manned, days))
    with clock.at(at(manned, 7, 12 * 60)):
        assert flags(manned, "interrupted") == []
        coming = booked(manned, resident, nine(manned, 10))

    with clock.at(at(manned, 7, 17 * 60)):
        (flag,) = flags(manned, "interrupted")
    trained(manned, coming, nine(manned, 10))
    with clock.at(at(manned, 10, 12 * 60)):
        assert flags(manned, "interrupted") == []

    assert (flag.sessions, flag.owner) == ([session.pk for session in sessions], "coordinator")
    assert (flag.since, flag.due_at) == (at(manned, 7, 17 * 60), nine(manned, 10))


def test_a_booking_that_facts_cut_is_overtaken_until_it_is_moved(manned: House) -> None:
    resident = manned.resident()
    monday, wednesday = booked(manned, resident, nine(manned)), booked(manned, resident, nine(manned, 2) + HALF)
    trained(manned, monday, nine(manned), minutes=34)

    with clock.at(nine(manned) + timedelta(hours=1)):
        (flag,) = flags(manned, "overtaken")

    assert (flag.sessions, flag.owner) == ([wednesday.pk], "coordinator")
    assert (flag.since, flag.due_at) == (nine(manned) + timedelta(minutes=34), wednesday.starts_at)


HALF = timedelta(minutes=30)


def test_too_soon_stands_until_the_resident_has_recovered(manned: House) -> None:
    resident = manned.resident(recovery_hours=50)
    monday = booked(manned, resident, nine(manned))
    tuesday = booked(manned, resident, nine(manned, 4))
    trained(manned, monday, nine(manned))
    trained(manned, tuesday, nine(manned, 1))
    recovered_at = nine(manned, 1) + HALF + timedelta(hours=50)

    with clock.at(recovered_at - timedelta(seconds=1)):
        (flag,) = flags(manned, "too soon")
    with clock.at(recovered_at):
        assert flags(manned, "too soon") == []

    assert (flag.cause, flag.owner, flag.due_at) == (f"session:{tuesday.pk}", "clinician", recovered_at)


def test_what_is_true_again_is_a_flag_of_its_own(manned: House) -> None:
    resident = manned.resident(sessions_a_week=1)
    refreshed(manned)
    set_hold(resident=resident, kind="away", reason="leave", starts_at=clock.now(), by=manned.aide)
    closing = refreshed(manned)
    with clock.at(clock.now() + timedelta(hours=1)):
        resident.holds.update(ends_at=clock.now() - timedelta(minutes=1))
        opening = refreshed(manned)

    assert (closing.closed, opening.opened) == (2, 2)
    assert [flag.closed_at is None for flag in Flag.objects.filter(kind="due").order_by("pk")] == [False, True]


def test_a_second_pass_changes_nothing(manned: House) -> None:
    manned.resident()
    first, second = refreshed(manned), refreshed(manned)

    assert ((first.opened, first.closed), (second.opened, second.closed)) == ((2, 0), (0, 0))


def test_a_pass_over_one_building_leaves_the_flags_of_others(manned: House, brindlewharf: House) -> None:
    manned.resident()
    brindlewharf.resident()
    refreshed(manned, brindlewharf)
    Resident.objects.update(enrolled_at=None)

    refreshed(manned)

    assert Flag.objects.of(manned.building).open_now().count() == 0
    assert Flag.objects.of(brindlewharf.building).open_now().count() == 2
