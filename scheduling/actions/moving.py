"""Booking and moving one session: which times keep all rules, and which rule refuses the rest."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from program import clock
from program.actions.locks import lock_plan
from program.actions.sessions import Booking, PlannedSlot, book_sessions, rebook_session
from program.models import Resident, Session, Station, User
from program.rules.errors import Refused, Stale
from program.rules.week import Week
from scheduling.load import Loaded, load_week
from scheduling.problem import Slot
from scheduling.times import Allowed, Refusal, allowed_starts, judge_start


def times_of(*, resident: Resident, week: Week, session: Session | None = None) -> list[Allowed]:
    """Every start of the week that keeps all rules with the planning buffer; none while there is no exercise plan.

    `session` is one that is to be moved: it does not stand in its own way.
    """
    loaded = load_week(building=resident.building, week=week, is_replanned=False, without=session)
    if not _has_plan(loaded, resident):
        return []
    key = str(resident.pk)
    times = allowed_starts(loaded.problem, key, loaded.blocks[key])
    return times if session is None else [time for time in times if may_go_to(session, time.start)]


def is_due(session: Session) -> bool:
    return session.starts_at <= clock.now() or session.attempted_at is not None


def may_go_to(session: Session, starts_at: datetime) -> bool:
    """Once it should have begun it moves within its day alone; for another one it is given up."""
    zone = session.building.zone
    return not is_due(session) or starts_at.astimezone(zone).date() == session.starts_at.astimezone(zone).date()


def judge_time(*, resident: Resident, starts_at: datetime, session: Session | None = None) -> Allowed | Refusal:
    """A start that a person chose: the session there, or the one rule that refuses it. The buffer is not asked for."""
    return _judged(_load(resident, starts_at, session), resident, starts_at)


@transaction.atomic
def book_session(*, resident: Resident, starts_at: datetime, by: User) -> Session:
    """Publish one session at a start that a person chose."""
    # Locked so that two people cannot both be given the last hour of help.
    lock_plan(building=resident.building)
    booking = _booking(resident, starts_at, session=None)
    return book_sessions(building=resident.building, bookings=[booking], by=by)[0]


@transaction.atomic
def move_session(*, session: Session, starts_at: datetime, by: User, version: int | None = None) -> Session:
    """Move one session to a start that a person chose."""
    lock_plan(building=session.building)
    session.refresh_from_db()
    if version is not None and session.version != version:
        raise Stale("This session has changed since you looked. See it again.", current_version=session.version)
    booking = _booking(session.resident, starts_at, session=session)
    return rebook_session(session=session, booking=booking, by=by)


def _booking(resident: Resident, starts_at: datetime, *, session: Session | None) -> Booking:
    loaded = _load(resident, starts_at, session)
    judged = _judged(loaded, resident, starts_at)
    if isinstance(judged, Refusal):
        raise Refused(
            judged.sentence,
            problem="time-not-allowed",
            details={
                "rule": judged.code,
                "allowed_from": next_allowed(resident=resident, after=starts_at, session=session),
            },
        )
    return booking_of(loaded, resident, judged.slots)


def booking_of(loaded: Loaded, resident: Resident, slots: Iterable[Slot]) -> Booking:
    """Slots of a problem as a booking; what the exercise plan asks for beyond them is left out."""
    taken = {slot.station for slot in slots}
    left_out: list[Station] = []
    for line in loaded.lines.get(str(resident.pk), ()):
        if line.station.name not in taken and line.station not in left_out:
            left_out.append(line.station)
    planned = [PlannedSlot(loaded.stations[slot.station], slot.start, slot.end) for slot in slots]
    return Booking(resident=resident, slots=planned, left_out=left_out)


def _judged(loaded: Loaded, resident: Resident, starts_at: datetime) -> Allowed | Refusal:
    if str(resident.pk) not in loaded.residents:
        return Refusal("not_in_the_programme", f"{resident.name} is not in the programme here that week.")
    if not _has_plan(loaded, resident):
        return Refusal("no_exercise_plan", f"{resident.name} has no exercise plan yet.")
    key = str(resident.pk)
    return judge_start(loaded.problem, key, starts_at, loaded.blocks[key])


def _load(resident: Resident, starts_at: datetime, session: Session | None) -> Loaded:
    week = Week.of(starts_at, resident.building.zone)
    return load_week(building=resident.building, week=week, has_buffer=False, is_replanned=False, without=session)


def _has_plan(loaded: Loaded, resident: Resident) -> bool:
    return str(resident.pk) in loaded.residents and bool(loaded.lines.get(str(resident.pk)))


def next_allowed(*, resident: Resident, after: datetime, session: Session | None = None) -> datetime | None:
    """The first allowed start after a refused one, in its week or the next."""
    week = Week.of(after, resident.building.zone)
    for nearby in (week, week.next):
        later = [time.start for time in times_of(resident=resident, week=nearby, session=session) if time.start > after]
        if later:
            return later[0]
    return None
