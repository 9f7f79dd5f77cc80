import threading
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection, transaction

from program.actions import safety
from program.actions.locks import lock_plan
from program.actions.sessions import book_sessions
from program.models import Clearance, Hold, Record, Session
from program.models.scoped import scope
from program.rules.errors import Invalid, Refused, Stale
from program.rules.states import State
from tests.conftest import MONDAY, build_house
from tests.program.actions.arranging import booked, booking, train

WEDNESDAY = datetime(2026, 12, 2, 15, 0, tzinfo=UTC)
SATURDAY = datetime(2026, 12, 5, 15, 0, tzinfo=UTC)
TUESDAY_NIGHT = datetime(2026, 12, 2, 3, 0, tzinfo=UTC)  # Tue 22:00 in New York
CLEARED = {
    "given_by": "O. Farrowgate",
    "credential": "MD",
    "given_on": date(2026, 11, 30),
    "until_on": date(2027, 11, 30),
}


def away(house, resident, reason="hospital", **fields):
    told = {"kind": "away", "reason": reason, "starts_at": TUESDAY_NIGHT, "by": house.aide}
    return safety.set_hold(resident=resident, **(told | fields))


def states(*sessions):
    for session in sessions:
        session.refresh_from_db()
    return [session.state_at(MONDAY) for session in sessions]


def test_one_clearance_is_entered_for_a_selection(arrowfen):
    first, second = arrowfen.resident(), arrowfen.resident()

    entered = safety.enter_clearance(residents=[first, second], limits="no pulling", by=arrowfen.clinician, **CLEARED)

    assert [(row.resident, row.limits, row.entered_at) for row in entered] == [
        (first, "no pulling", MONDAY),
        (second, "no pulling", MONDAY),
    ]


def test_a_clearance_that_one_of_them_has_is_entered_for_none(arrowfen):
    first, second = arrowfen.resident(), arrowfen.resident(given_name="Ada", family_name="Fenwright")
    safety.enter_clearance(residents=[second], by=arrowfen.clinician, **CLEARED)
    before = Clearance.objects.count()

    with pytest.raises(Refused) as refusal, transaction.atomic():
        safety.enter_clearance(residents=[first, second], by=arrowfen.clinician, **CLEARED)

    assert refusal.value.sentence == "Ada Fenwright: That clearance has been entered already."
    assert Clearance.objects.count() == before


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"given_on": date(2026, 12, 1)}, "2026-12-01 is in the future. Enter the day on which it was given."),
        ({"until_on": date(2026, 11, 29)}, "A clearance cannot expire before it is given."),
    ],
)
def test_an_impossible_clearance_is_refused(arrowfen, fields, sentence):
    with pytest.raises(Refused) as refusal:
        safety.enter_clearance(residents=[arrowfen.resident()], by=arrowfen.clinician, **(CLEARED | fields))

    assert refusal.value.sentence == sentence


def test_a_withdrawn_clearance_may_be_entered_again(arrowfen):
    resident = arrowfen.resident()
    [clearance] = safety.enter_clearance(residents=[resident], by=arrowfen.clinician, **CLEARED)
    safety.withdraw_clearance(clearance=clearance, by=arrowfen.clinician, version=1)

    safety.enter_clearance(residents=[resident], by=arrowfen.clinician, **CLEARED)

    entered = Clearance.objects.filter(resident=resident, given_by="O. Farrowgate").order_by("pk")
    assert list(entered.values_list("withdrawn_at", flat=True)) == [MONDAY, None]


def test_a_clearance_changed_meanwhile_is_stale(arrowfen):
    [clearance] = safety.enter_clearance(residents=[arrowfen.resident()], by=arrowfen.clinician, **CLEARED)

    with pytest.raises(Stale):
        safety.withdraw_clearance(clearance=clearance, by=arrowfen.clinician, version=7)


def test_hospital_withdraws_what_is_booked_inside_and_nothing_before(arrowfen):
    resident = arrowfen.resident()
    monday = booked(arrowfen, resident, MONDAY + timedelta(hours=4))
    wednesday = booked(arrowfen, resident, WEDNESDAY + timedelta(hours=3))
    saturday = booked(arrowfen, resident, SATURDAY + timedelta(hours=4))

    away(arrowfen, resident)

    assert states(monday, wednesday, saturday) == [State.PUBLISHED, State.WITHDRAWN, State.WITHDRAWN]
    written = Record.objects.filter(kind="withdrawn").values_list("reason", "reason_class").distinct()
    assert list(written) == [("hospital", "clinical")]


def test_a_session_that_has_begun_is_not_withdrawn(arrowfen, at):
    resident = arrowfen.resident()
    session = booked(arrowfen, resident, MONDAY + timedelta(hours=4))
    with at(MONDAY + timedelta(hours=5)):
        train(arrowfen, session, ended_at=MONDAY + timedelta(hours=4, minutes=20))

        away(arrowfen, resident, starts_at=MONDAY)

    assert states(session) == [State.DONE]


def test_a_hold_that_ends_leaves_what_starts_at_its_end(arrowfen):
    resident = arrowfen.resident()
    wednesday, saturday = booked(arrowfen, resident, WEDNESDAY), booked(arrowfen, resident, SATURDAY)

    away(arrowfen, resident, kind="clinical", reason="pain", starts_at=WEDNESDAY, ends_at=SATURDAY)

    assert states(wednesday, saturday) == [State.WITHDRAWN, State.PUBLISHED]
    assert Record.objects.get(kind="withdrawn").reason == "pain"


def test_the_return_from_hospital_is_a_hold_until_a_clinician_releases_it(arrowfen, at):
    resident = arrowfen.resident()
    hold = away(arrowfen, resident)
    returned_at = datetime(2026, 12, 7, 20, 0, tzinfo=UTC)
    with at(returned_at):
        safety.end_hold(hold=hold, by=arrowfen.aide, version=1)

    review = Hold.objects.get(resident=resident, kind="clinical")
    assert (review.reason, review.starts_at, review.ends_at) == ("review after hospital", returned_at, None)


def test_an_expected_return_sets_its_review_at_once_and_an_earlier_one_moves_it(arrowfen, at):
    resident = arrowfen.resident()
    hold = away(arrowfen, resident, ends_at=SATURDAY)
    session = booked(arrowfen, resident, datetime(2026, 12, 1, 15, 0, tzinfo=UTC))
    [expected] = Hold.objects.filter(resident=resident, kind="clinical").values_list("starts_at", flat=True)
    with at(datetime(2026, 12, 4, 15, 0, tzinfo=UTC)):
        safety.end_hold(hold=hold, by=arrowfen.aide)

    [moved] = Hold.objects.filter(resident=resident, kind="clinical").values_list("starts_at", flat=True)
    assert (expected, moved) == (SATURDAY, datetime(2026, 12, 4, 15, 0, tzinfo=UTC))
    assert states(session) == [State.PUBLISHED]


def test_leave_ends_without_a_review(arrowfen, at):
    hold = away(arrowfen, arrowfen.resident(), reason="Leave")
    with at(SATURDAY):
        safety.end_hold(hold=hold, by=arrowfen.aide)

    assert list(Hold.objects.values_list("kind", "reason", "ends_at")) == [("away", "leave", SATURDAY)]


def test_away_needs_one_of_its_reasons(arrowfen):
    with pytest.raises(Invalid) as refusal:
        away(arrowfen, arrowfen.resident(), reason="gone")

    assert refusal.value.sentence == "Say why they are away: hospital, leave, isolation."


def test_a_hold_that_has_not_begun_is_called_off(arrowfen):
    resident = arrowfen.resident()
    hold = away(arrowfen, resident)

    safety.end_hold(hold=hold, by=arrowfen.aide)

    assert not Hold.objects.holding_at(TUESDAY_NIGHT + timedelta(seconds=1)).filter(resident=resident).exists()
    assert Hold.objects.filter(resident=resident).count() == 1


def test_a_hold_ends_once(arrowfen, at):
    hold = away(arrowfen, arrowfen.resident())
    with at(SATURDAY):
        ended = safety.end_hold(hold=hold, by=arrowfen.aide)
        with pytest.raises(Refused) as refusal:
            safety.end_hold(hold=ended, by=arrowfen.aide)

    assert refusal.value.sentence == "This hold ended on Sat 5 Dec 10:00. Set a new one."


def test_a_hold_changed_meanwhile_is_stale(arrowfen, at):
    hold = away(arrowfen, arrowfen.resident())
    with at(SATURDAY), pytest.raises(Stale):
        safety.end_hold(hold=hold, by=arrowfen.aide, version=2)


@pytest.mark.parametrize("is_locked", [True, False])
@pytest.mark.django_db(transaction=True)
def test_no_booking_slips_past_a_hold(monkeypatch, is_locked):
    """Without the lock, the control arm, the hold does not wait for the booking and misses it."""
    with transaction.atomic():
        house = build_house()
        resident = house.resident()
    if not is_locked:
        monkeypatch.setattr(safety, "lock_what_is_planned", lambda *, resident: None)
    everything = [house.building.pk]

    def hospital():
        try:
            with scope(everything):
                away(house, resident)
        finally:
            connection.close()

    other = threading.Thread(target=hospital)
    with scope(everything):
        lock_plan(building=house.building)
        book_sessions(building=house.building, bookings=[booking(house, resident, SATURDAY)], by=house.coordinator)
        other.start()
        other.join(timeout=1)
        assert other.is_alive() is is_locked
    other.join()
    with scope(everything):
        assert Session.objects.get().state_at(MONDAY) is (State.WITHDRAWN if is_locked else State.PUBLISHED)


def test_a_late_session_that_has_not_begun_is_withdrawn_with_a_hold(arrowfen, at):
    resident = arrowfen.resident()
    late = booked(arrowfen, resident, MONDAY + timedelta(hours=3))
    with at(MONDAY + timedelta(hours=4)):
        hold = {"kind": "clinical", "reason": "unwell", "starts_at": MONDAY + timedelta(hours=4)}
        safety.set_hold(resident=resident, by=arrowfen.aide, **hold)

    assert states(late) == [State.WITHDRAWN]


def test_a_late_session_that_can_still_be_done_after_an_absence_stays(arrowfen, at):
    resident = arrowfen.resident()
    late = booked(arrowfen, resident, MONDAY + timedelta(hours=3))
    with at(MONDAY + timedelta(hours=4)):
        away(
            arrowfen,
            resident,
            "leave",
            starts_at=MONDAY + timedelta(hours=4),
            ends_at=MONDAY + timedelta(hours=5),
        )

    assert states(late) == [State.PUBLISHED]


def test_a_session_that_an_absence_cuts_short_is_withdrawn(arrowfen):
    resident = arrowfen.resident()
    session = booked(arrowfen, resident, WEDNESDAY)
    away(arrowfen, resident, "leave", starts_at=WEDNESDAY + timedelta(minutes=12))

    assert states(session) == [State.WITHDRAWN]


def test_what_nobody_recorded_before_a_hold_stays_not_recorded(arrowfen, at):
    resident = arrowfen.resident()
    session = booked(arrowfen, resident, MONDAY + timedelta(hours=3))
    wednesday = MONDAY + timedelta(days=2)
    with at(wednesday):
        away(arrowfen, resident, starts_at=MONDAY + timedelta(hours=6))
        session.refresh_from_db()
        assert session.state_at(wednesday) is State.NOT_RECORDED
