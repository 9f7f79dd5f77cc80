from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from program.actions import residents
from program.actions.records import NewLine, write_lines
from program.models import Person, Record, Session
from program.rules.errors import Invalid, Refused, Stale
from program.rules.states import State
from tests.conftest import MONDAY
from tests.program.actions.arranging import booked, train

WHO = {
    "key": "R-1",
    "given_name": "Ansgar",
    "family_name": "Quillmoor",
    "date_of_birth": date(1938, 4, 17),
    "help_sixths": 2,
    "agreed_on": date(2026, 11, 30),
    "agreed_by": "the resident",
}


def enrol(house, **fields):
    where = {"building": house.building, "unit": house.unit, "by": house.coordinator}
    return residents.enrol_resident(**(where | WHO | fields))


def test_an_enrolled_resident_is_in_the_programme_from_now(arrowfen):
    resident = enrol(arrowfen)

    assert (resident.since, resident.enrolled_at, resident.recovered_at) == (MONDAY, MONDAY, None)


def test_somebody_who_moved_in_earlier_is_in_the_programme_from_the_day_of_the_agreement(arrowfen):
    resident = enrol(arrowfen, since=datetime(2026, 9, 1, 14, 0, tzinfo=UTC), agreed_on=date(2026, 11, 3))

    # Local midnight in New York, which is at UTC-5 in November.
    assert resident.enrolled_at == datetime(2026, 11, 3, 5, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"agreed_by": ""}, "An agreement needs who agreed and on which day."),
        (
            {"recovery_hours": Decimal(40)},
            "Recovery is at least 48 hours; a clinician may make it longer, never shorter.",
        ),
        ({"agreed_on": date(2026, 12, 1)}, "2026-12-01 is in the future. Enter what has already happened."),
        ({"escort_people": 1}, "Say how many minutes fetching takes each way, 1 to 60, or choose alone."),
        ({"shoe_size": 43}, "“shoe_size” cannot be changed here."),
    ],
)
def test_what_breaks_a_rule_is_refused_with_its_sentence(arrowfen, fields, sentence):
    with pytest.raises(Refused) as refusal:
        enrol(arrowfen, **fields)

    assert refusal.value.sentence == sentence
    assert Person.objects.count() == 0


def test_a_unit_of_another_building_does_not_exist_here(arrowfen, brindlewharf):
    with pytest.raises(Invalid) as refusal:
        enrol(arrowfen, unit=brindlewharf.unit)

    assert refusal.value.sentence == "Arrowfen House has no such unit. Choose one of its own."


def test_two_residents_do_not_share_a_key(arrowfen):
    enrol(arrowfen)

    with pytest.raises(Refused) as refusal:
        enrol(arrowfen)

    assert refusal.value.sentence == "Another resident of this building has that key."


def test_nobody_stays_in_two_buildings_at_once(arrowfen, brindlewharf):
    here = enrol(arrowfen)

    with pytest.raises(Refused) as refusal:
        enrol(brindlewharf, person=here.person)

    assert refusal.value.sentence == "That person is already staying somewhere at that time."


def test_a_change_of_an_older_version_is_stale(arrowfen):
    resident = enrol(arrowfen)
    residents.change_resident(resident=resident, version=1, room="12")

    with pytest.raises(Stale) as refusal:
        residents.change_resident(resident=resident, version=1, room="14")

    assert (refusal.value.details, resident.room) == ({"current_version": 2}, "12")


def test_recovery_is_not_among_what_staff_change(arrowfen):
    with pytest.raises(Invalid, match="“recovery_hours” cannot be changed here"):
        residents.change_resident(resident=enrol(arrowfen), recovery_hours=72)


def test_a_new_stay_carries_when_the_person_is_recovered(arrowfen, brindlewharf, at):
    leaving = arrowfen.resident()
    session = booked(arrowfen, leaving, datetime(2026, 11, 30, 15, 0, tzinfo=UTC))
    with at(datetime(2026, 11, 30, 16, 0, tzinfo=UTC)):
        train(arrowfen, session, ended_at=datetime(2026, 11, 30, 15, 34, tzinfo=UTC))
        left = residents.end_stay(
            resident=leaving, until=datetime(2026, 11, 30, 16, 0, tzinfo=UTC), by=arrowfen.coordinator
        )
        stay = enrol(brindlewharf, person=leaving.person)

    # 48 hours after the end of the last set.
    assert left.recovered_at == stay.recovered_at == datetime(2026, 12, 2, 15, 34, tzinfo=UTC)


def test_leaving_withdraws_what_would_come_after(arrowfen):
    resident = arrowfen.resident()
    before = booked(arrowfen, resident, datetime(2026, 11, 30, 15, 0, tzinfo=UTC))
    after = booked(arrowfen, resident, datetime(2026, 12, 3, 15, 0, tzinfo=UTC))

    residents.end_stay(resident=resident, until=datetime(2026, 12, 2, 15, 0, tzinfo=UTC), by=arrowfen.coordinator)

    before.refresh_from_db()
    after.refresh_from_db()
    assert [before.state_at(MONDAY), after.state_at(MONDAY)] == [State.PUBLISHED, State.WITHDRAWN]
    assert Record.objects.get(session=after, kind="withdrawn").reason == "left the building"
    assert not after.slots.filter(is_held=True).exists()


def test_withdrawing_the_agreement_takes_everything_off_the_plan(arrowfen):
    resident = arrowfen.resident()
    session = booked(arrowfen, resident, datetime(2026, 11, 30, 15, 0, tzinfo=UTC))

    resident = residents.withdraw_agreement(resident=resident, by=arrowfen.coordinator, version=1)

    session.refresh_from_db()
    assert (resident.agreement_withdrawn_at, session.state_at(MONDAY)) == (MONDAY, State.WITHDRAWN)
    assert session.held_from is None
    assert Record.objects.get(session=session, kind="withdrawn").reason_class == "resident"


def test_an_agreement_older_than_its_withdrawal_does_not_bring_it_back(arrowfen, at):
    resident = arrowfen.resident()
    residents.withdraw_agreement(resident=resident, by=arrowfen.coordinator)

    with pytest.raises(Invalid, match="older than its withdrawal"):
        residents.agree_again(resident=resident, agreed_on=date(2026, 11, 29), agreed_by="R", by=arrowfen.coordinator)
    with at(MONDAY + timedelta(days=1)):
        agreed = residents.agree_again(
            resident=resident, agreed_on=date(2026, 12, 1), agreed_by="R", by=arrowfen.coordinator
        )

    assert (agreed.agreed_on, agreed.agreement_withdrawn_at) == (date(2026, 12, 1), None)


def test_a_longer_recovery_overtakes_the_next_booking(arrowfen):
    resident = arrowfen.resident()
    booked(arrowfen, resident, datetime(2026, 11, 30, 15, 0, tzinfo=UTC))
    wednesday = booked(arrowfen, resident, datetime(2026, 12, 2, 15, 30, tzinfo=UTC))

    residents.set_recovery(resident=resident, hours=Decimal(72), by=arrowfen.clinician)

    wednesday.refresh_from_db()
    assert (wednesday.is_overtaken, wednesday.recovery_hours) == (True, 72)


def test_a_longer_recovery_holds_from_the_newest_session_and_makes_none_too_soon(arrowfen, at):
    resident = arrowfen.resident()
    for start in (datetime(2026, 11, 30, 15, 0, tzinfo=UTC), datetime(2026, 12, 2, 15, 30, tzinfo=UTC)):
        with at(start + timedelta(hours=1)):
            train(arrowfen, booked(arrowfen, resident, start), ended_at=start + timedelta(minutes=30))
    with at(datetime(2026, 12, 3, 15, 0, tzinfo=UTC)):
        residents.set_recovery(resident=resident, hours=Decimal(96), by=arrowfen.clinician)

    first, second = Session.objects.filter(resident=resident).order_by("starts_at")
    assert [first.is_too_soon, second.is_too_soon] == [False, False]
    assert second.held_until == datetime(2026, 12, 6, 16, 0, tzinfo=UTC)


def test_recovery_below_48_hours_is_refused(arrowfen):
    with pytest.raises(Refused, match="Recovery is at least 48 hours"):
        residents.set_recovery(resident=arrowfen.resident(), hours=Decimal("47.5"), by=arrowfen.clinician)


@pytest.mark.parametrize("verb", ["leaves", "no longer agrees"])
def test_a_late_session_that_has_not_begun_is_taken_off_the_plan_too(arrowfen, at, verb):
    resident = arrowfen.resident()
    late = booked(arrowfen, resident, MONDAY + timedelta(hours=3))
    now = MONDAY + timedelta(hours=4)
    with at(now):
        if verb == "leaves":
            residents.end_stay(resident=resident, until=now, by=arrowfen.coordinator)
        else:
            residents.withdraw_agreement(resident=resident, by=arrowfen.coordinator)

    late.refresh_from_db()
    assert late.state_at(now) is State.WITHDRAWN


def test_a_longer_recovery_leaves_what_was_missed_as_it_was(arrowfen, at):
    resident = arrowfen.resident()
    session = booked(arrowfen, resident, MONDAY + timedelta(hours=3))
    with at(MONDAY + timedelta(hours=4)):
        asleep = NewLine("attempt", MONDAY + timedelta(hours=4), uuid4(), reason="asleep")
        write_lines(session=session, lines=[asleep], done_by=arrowfen.aide, entered_by=arrowfen.aide)
    with at(MONDAY + timedelta(days=3)):
        residents.set_recovery(resident=resident, hours=Decimal(72), by=arrowfen.clinician)

    session.refresh_from_db()
    assert session.recovery_hours == 48
