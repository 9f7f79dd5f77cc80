"""Booking, moving and withdrawing sessions. What the database knows is judged here: recovery, stations, safety."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

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
from program.rules.week import date_and_time

ESCORT_SIXTHS = 6
OPEN = frozenset({State.PUBLISHED, State.NOT_RECORDED})
ON_THE_PLAN = frozenset({State.PUBLISHED})
CLASH_TYPES = {
    "nobody_trains_before_they_have_recovered": "too-soon",
    "a_station_holds_one_resident_at_a_time": "station-taken",
}
MOVED_FIELDS = (
    *("prescription", "starts_at", "ends_at", "day_closes_at", "help_sixths", "escort_sixths", "escort_minutes"),
    *("recovery_hours", "left_out", "held_from", "held_until", "is_cut", "version"),
)


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
    now = clock.now()
    sessions = [
        Session(
            building=building,
            resident=booking.resident,
            person_id=booking.resident.person_id,
            published_at=now,
            **planned,
        )
        for booking, planned in zip(bookings, _planned(building, bookings), strict=True)
    ]
    _write_places(sessions, bookings, _insert)
    Record.objects.bulk_create(_record(session, Record.Kind.PUBLISHED, by) for session in sessions)
    return sessions


@transaction.atomic
def rebook_sessions(*, moves: Sequence[tuple[Session, Booking]], by: User) -> list[Session]:
    """Move sessions that have not begun, all or none; each stays the same session, and its record says from when.

    None of their old places stands in the way of a new one.
    """
    sessions, bookings = [session for session, _ in moves], [booking for _, booking in moves]
    persons = [session.person_id for session in sessions]
    lock_persons(person_ids=persons)
    settle(person_ids=persons)
    building = sessions[0].building
    for session, booking in moves:
        session.refresh_from_db()
        _refuse_unless_movable(session, booking, building)
    records = [
        _record(one, Record.Kind.MOVED, by, moved_from_starts_at=one.starts_at, moved_from_ends_at=one.ends_at)
        for one in sessions
    ]
    touched = [session.starts_at for session in sessions] + [booking.starts_at for booking in bookings]
    for session, planned in zip(sessions, _planned(building, bookings), strict=True):
        for name, value in planned.items():
            setattr(session, name, value)
        session.is_cut = False
        session.version += 1
    _write_places(sessions, bookings, lambda some, theirs: _replace(some, theirs, letting_go=sessions))
    Record.objects.bulk_create(records)
    settle(person_ids=persons, since=min(touched))
    return sessions


def rebook_session(*, session: Session, booking: Booking, by: User) -> Session:
    """Move one session that has not begun."""
    return rebook_sessions(moves=[(session, booking)], by=by)[0]


@transaction.atomic
def withdraw_sessions(
    *,
    sessions: Sequence[Session],
    reason: str,
    by: User,
    note: str = "",
    states: Collection[State] = ON_THE_PLAN,
) -> list[Session]:
    """Take sessions that have not begun off the plan. Those of a day that is over are given up instead, unless
    something that is on record says that they could not be: `states` is then wider."""
    return _close(sessions, Record.Kind.WITHDRAWN, by, (reason, note), states)


@transaction.atomic
def give_up_sessions(*, sessions: Sequence[Session], reason: str, by: User, note: str = "") -> list[Session]:
    """Say that sessions will not happen, and why."""
    return _close(sessions, Record.Kind.GIVEN_UP, by, (reason, note), OPEN)


def _close(
    sessions: Sequence[Session], kind: str, by: User, why: tuple[str, str], states: Collection[State]
) -> list[Session]:
    reason, note = why
    if reason not in CLASS_OF:
        raise Invalid(f"Choose a reason: {', '.join(CLASS_OF)}.", field="reason")
    lock_persons(person_ids=[session.person_id for session in sessions])
    for session in sessions:
        session.refresh_from_db()
        _refuse_unless_open(session, kind, states=states)
    Record.objects.bulk_create(
        _record(session, kind, by, reason=reason, reason_class=CLASS_OF[reason], note=note) for session in sessions
    )
    return follow_lines(sessions=sessions)


def _refuse_unless_open(session: Session, verb: str, *, states: Collection[State]) -> None:
    state = session.state_at(clock.now())
    if state not in states:
        remedy = " Enter what happened, or give it up with the reason." if state is State.NOT_RECORDED else ""
        raise Refused(
            f"This session is {state.value}, so it cannot be {verb}.{remedy}",
            problem="session-not-open",
            details={"state": state.value},
        )


def _refuse_unless_movable(session: Session, booking: Booking, building: Building) -> None:
    """Once it should have begun it is given up for another day, and so counts as missed."""
    _refuse_unless_open(session, "moved", states=ON_THE_PLAN)
    is_due = session.starts_at <= clock.now() or session.attempted_at is not None
    days = {moment.astimezone(building.zone).date() for moment in (session.starts_at, booking.starts_at)}
    if is_due and len(days) > 1:
        when = date_and_time(session.starts_at, building.zone)
        raise Refused(
            f"This session should have begun on {when}. Give it up with the reason, then book another.",
            problem="session-not-open",
            details={"state": State.PUBLISHED.value},
        )


def _planned(building: Building, bookings: Sequence[Booking]) -> list[dict[str, Any]]:
    """The columns that follow from each booking and from what stands of its resident. The persons must be locked."""
    # Read again: what the caller holds may be from before somebody else's change of the recovery.
    residents = Resident.objects.in_bulk([booking.resident.pk for booking in bookings])
    plans = {plan.resident_id: plan for plan in Prescription.objects.in_force().filter(resident__in=residents)}
    openings = openings_of(building)
    for key, resident in residents.items():
        if key not in plans:
            raise Refused(f"{resident.name} has no exercise plan yet.", problem="no-exercise-plan")
    return [
        {
            "prescription": plans[resident.pk],
            "starts_at": booking.starts_at,
            "ends_at": booking.ends_at,
            "day_closes_at": day_closes_at(openings, booking.starts_at, building.zone),
            "help_sixths": resident.help_sixths,
            "escort_sixths": resident.escort_people * ESCORT_SIXTHS,
            "escort_minutes": resident.escort_minutes,
            "recovery_hours": resident.recovery_hours,
            "left_out": [station.pk for station in booking.left_out],
            "held_from": booking.starts_at,
            "held_until": booking.ends_at + timedelta(hours=float(resident.recovery_hours)),
        }
        for booking in bookings
        for resident in [residents[booking.resident.pk]]
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
    for session in sessions:
        session.pk, session._state.adding = None, True
    Session.objects.bulk_create(sessions)
    _insert_slots(sessions, bookings)


def _replace(sessions: Sequence[Session], bookings: Sequence[Booking], *, letting_go: Sequence[Session]) -> None:
    """Write the new places of `sessions`, after those of `letting_go` have been let go."""
    Slot.objects.filter(session__in=letting_go).delete()
    Session.objects.filter(pk__in=[session.pk for session in letting_go]).update(
        held_from=None, held_until=None, is_cut=True
    )
    Session.objects.bulk_update(sessions, MOVED_FIELDS)
    _insert_slots(sessions, bookings)


def _insert_slots(sessions: Sequence[Session], bookings: Sequence[Booking]) -> None:
    Slot.objects.bulk_create(
        [slot for session, booking in zip(sessions, bookings, strict=True) for slot in _slots(session, booking)]
    )


def _write_places(
    sessions: Sequence[Session],
    bookings: Sequence[Booking],
    write: Callable[[Sequence[Session], Sequence[Booking]], None],
) -> None:
    try:
        with transaction.atomic():
            write(sessions, bookings)
    except IntegrityError as error:
        raise _clash(sessions, bookings, write, error) from None


def _clash(
    sessions: Sequence[Session],
    bookings: Sequence[Booking],
    write: Callable[[Sequence[Session], Sequence[Booking]], None],
    first: IntegrityError,
) -> Refused:
    """Every session that cannot be booked as things stand, found by trying each alone."""
    clashes = []
    for session, booking in zip(sessions, bookings, strict=True):
        try:
            with transaction.atomic():
                write([session], [booking])
        except IntegrityError as error:
            clashes.append(_named(booking, error))
    broken = broken_by(first)
    clashes = clashes or [_named(bookings[0], first)]
    return Refused(
        f"{len(clashes)} of {len(bookings)} sessions cannot be booked: {clashes[0]['sentence']}"
        if len(bookings) > 1
        else broken.sentence,
        problem=CLASH_TYPES.get(broken.name, "clash"),
        details={"clashes": clashes},
    )


def _named(booking: Booking, error: IntegrityError) -> dict[str, Any]:
    sentence = broken_by(error).sentence
    return {"resident": booking.resident.pk, "starts_at": booking.starts_at, "sentence": sentence}


def _record(session: Session, kind: str, by: User, **fields: object) -> Record:
    now = clock.now()
    return Record(
        building_id=session.building_id,
        session=session,
        kind=kind,
        event_id=uuid4(),
        happened_at=now,
        entered_at=now,
        done_by=by,
        entered_by=by,
        **fields,
    )
