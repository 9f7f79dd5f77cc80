"""Booking, moving and withdrawing sessions. What the database knows is judged here: recovery, stations, safety."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.db import IntegrityError, transaction

from program import clock
from program.actions.locks import lock_persons
from program.actions.places import openings_of
from program.actions.records import follow_lines
from program.actions.settling import settle
from program.models import Building, Prescription, Record, Resident, Session, Slot, Station, User
from program.models.constraints import broken_by
from program.rules.errors import Invalid, Refused
from program.rules.opening import day_closes_at
from program.rules.reasons import CLASS_OF
from program.rules.states import State

ESCORT_SIXTHS = 6


@dataclass(frozen=True, slots=True)
class PlannedSlot:
    station: Station
    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Booking:
    """A resident's visit to be: one slot a station; `left_out` are stations of the plan that it goes without."""

    resident: Resident
    slots: Sequence[PlannedSlot]
    left_out: Sequence[Station] = field(default=())

    @property
    def starts_at(self) -> datetime:
        return min(slot.starts_at for slot in self.slots)

    @property
    def ends_at(self) -> datetime:
        return max(slot.ends_at for slot in self.slots)


@transaction.atomic
def book_sessions(*, building: Building, bookings: Sequence[Booking], by: User) -> list[Session]:
    """Publish these sessions: all of them, or none and Refused naming what stands in the way."""
    persons = [booking.resident.person_id for booking in bookings]
    lock_persons(person_ids=persons)
    # Lets go what a closed day has turned into missed sessions, so that it stands in nobody's way.
    settle(person_ids=persons)
    sessions = _sessions_to_be(building, bookings)
    try:
        with transaction.atomic():
            _insert(sessions, bookings)
    except IntegrityError as error:
        raise _clash(sessions, bookings, error) from None
    _write_records(sessions, Record.Kind.PUBLISHED, by=by)
    return sessions


@transaction.atomic
def rebook_session(*, session: Session, booking: Booking, by: User, event_id: UUID | None = None) -> Session:
    """Move a session that has not begun; it stays the same session, and its record says from when."""
    lock_persons(person_ids=[session.person_id])
    settle(person_ids=[session.person_id])
    session.refresh_from_db()
    _refuse_unless_open(session, "moved")
    moved_from = {"moved_from_starts_at": session.starts_at, "moved_from_ends_at": session.ends_at}
    session.starts_at, session.ends_at = booking.starts_at, booking.ends_at
    session.day_closes_at = day_closes_at(openings_of(session.building), booking.starts_at, session.building.zone)
    session.held_from = session.starts_at
    session.held_until = session.ends_at + timedelta(hours=float(session.recovery_hours))
    session.is_cut, session.attempted_at = False, None
    session.left_out = [station.pk for station in booking.left_out]
    session.version += 1
    try:
        with transaction.atomic():
            # Its own old slots must not stand in its way.
            session.slots.all().delete()
            session.save()
            Slot.objects.bulk_create(_slots(session, booking))
    except IntegrityError as error:
        raise _clash([session], [booking], error) from None
    _write_records([session], Record.Kind.MOVED, by=by, event_id=event_id, **moved_from)
    settle(person_ids=[session.person_id], since=min(moved_from["moved_from_starts_at"], session.starts_at))
    return session


@transaction.atomic
def withdraw_sessions(*, sessions: Sequence[Session], reason: str, by: User, note: str = "") -> list[Session]:
    """Take sessions that have not begun off the plan."""
    return _close(sessions, Record.Kind.WITHDRAWN, by, reason, note)


@transaction.atomic
def give_up_sessions(*, sessions: Sequence[Session], reason: str, by: User, note: str = "") -> list[Session]:
    """Say that sessions will not happen, and why."""
    return _close(sessions, Record.Kind.GIVEN_UP, by, reason, note)


def _close(sessions: Sequence[Session], kind: str, by: User, reason: str, note: str) -> list[Session]:
    if reason not in CLASS_OF:
        raise Invalid(f"Choose a reason: {', '.join(CLASS_OF)}.", field="reason")
    lock_persons(person_ids=[session.person_id for session in sessions])
    for session in sessions:
        session.refresh_from_db()
        _refuse_unless_open(session, kind)
    _write_records(sessions, kind, by=by, reason=reason, reason_class=CLASS_OF[reason], note=note)
    return follow_lines(sessions=sessions)


def _refuse_unless_open(session: Session, verb: str) -> None:
    state = session.state_at(clock.now())
    if state not in {State.PUBLISHED, State.NOT_RECORDED}:
        raise Refused(
            f"This session is {state.value}, so it cannot be {verb}.",
            problem="session-not-open",
            details={"state": state.value},
        )


def _sessions_to_be(building: Building, bookings: Sequence[Booking]) -> list[Session]:
    residents = [booking.resident for booking in bookings]
    plans = {plan.resident_id: plan for plan in Prescription.objects.in_force().filter(resident__in=residents)}
    openings = openings_of(building)
    for resident in residents:
        if resident.pk not in plans:
            raise Refused(f"{resident.name} has no exercise plan yet.", problem="no-exercise-plan")
    return [
        Session(
            building=building,
            resident=booking.resident,
            person_id=booking.resident.person_id,
            prescription=plans[booking.resident.pk],
            starts_at=booking.starts_at,
            ends_at=booking.ends_at,
            day_closes_at=day_closes_at(openings, booking.starts_at, building.zone),
            published_at=clock.now(),
            help_sixths=booking.resident.help_sixths,
            escort_sixths=booking.resident.escort_people * ESCORT_SIXTHS,
            escort_minutes=booking.resident.escort_minutes,
            recovery_hours=booking.resident.recovery_hours,
            left_out=[station.pk for station in booking.left_out],
            held_from=booking.starts_at,
            held_until=booking.ends_at + timedelta(hours=float(booking.resident.recovery_hours)),
        )
        for booking in bookings
    ]


def _slots(session: Session, booking: Booking) -> list[Slot]:
    return [
        Slot(
            building_id=session.building_id,
            session=session,
            station=slot.station,
            starts_at=slot.starts_at,
            ends_at=slot.ends_at,
        )
        for slot in booking.slots
    ]


def _insert(sessions: Sequence[Session], bookings: Sequence[Booking]) -> None:
    Session.objects.bulk_create(sessions)
    Slot.objects.bulk_create(
        [slot for session, booking in zip(sessions, bookings, strict=True) for slot in _slots(session, booking)]
    )


def _clash(sessions: Sequence[Session], bookings: Sequence[Booking], first: IntegrityError) -> Refused:
    """Every session that cannot be booked as things stand, found by trying each alone."""
    clashes = []
    for session, booking in zip(sessions, bookings, strict=True):
        is_new = session.pk is None or len(sessions) > 1
        try:
            with transaction.atomic():
                if is_new:
                    session.pk, session._state.adding = None, True
                    _insert([session], [booking])
        except IntegrityError as error:
            broken = broken_by(error)
            clashes.append(
                {"resident": booking.resident.pk, "starts_at": booking.starts_at, "sentence": broken.sentence}
            )
    broken = broken_by(first)
    if not clashes:
        booking = bookings[0]
        clashes = [{"resident": booking.resident.pk, "starts_at": booking.starts_at, "sentence": broken.sentence}]
    return Refused(
        f"{len(clashes)} of {len(bookings)} sessions cannot be booked: {clashes[0]['sentence']}"
        if len(bookings) > 1
        else broken.sentence,
        problem=CLASH_TYPES.get(broken.name, "clash"),
        details={"clashes": clashes},
    )


CLASH_TYPES = {
    "nobody_trains_before_they_have_recovered": "too-soon",
    "a_station_holds_one_resident_at_a_time": "station-taken",
}


def _write_records(
    sessions: Sequence[Session], kind: str, *, by: User, event_id: UUID | None = None, **fields: object
) -> None:
    now = clock.now()
    Record.objects.bulk_create(
        Record(
            building_id=session.building_id,
            session=session,
            kind=kind,
            event_id=event_id or uuid4(),
            happened_at=now,
            entered_at=now,
            done_by=by,
            entered_by=by,
            **fields,
        )
        for session in sessions
    )
