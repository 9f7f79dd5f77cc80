"""Writing down what happened: lines are added once each, in any order, and the session follows from them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from program import clock
from program.actions.locks import lock_persons
from program.actions.places import openings_of
from program.actions.settling import settle
from program.models import Prescription, PrescriptionLine, Record, Resident, Session, Set, Station, User
from program.rules.errors import Invalid, Refused
from program.rules.lines import DoneSet, Happened, Line, what_happened
from program.rules.opening import day_closes_at
from program.rules.reasons import CLASS_OF
from program.rules.units import kilograms

LONGEST_VISIT = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class NewLine:
    """A record to be written; `event_id` makes it safe to send twice."""

    kind: str
    happened_at: datetime
    event_id: UUID
    reason: str = ""
    note: str = ""
    phone_happened_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class NewSet:
    """A set to be written: load in the unit it was entered in, set time in seconds."""

    station: Station
    exercise: str
    load: Decimal
    load_unit: str
    repetitions: int
    seconds: int
    ended_at: datetime
    event_id: UUID
    line: PrescriptionLine | None = None
    more_possible: int | None = None
    pain: int | None = None
    pain_cannot_be_rated: bool = False
    pain_signs_seen: bool | None = None
    stop_reason: str = ""
    phone_happened_at: datetime | None = None


@transaction.atomic
def write_lines(
    *, session: Session, lines: Sequence[NewLine] = (), sets: Sequence[NewSet] = (), done_by: User, entered_by: User
) -> Session:
    """Add what is new of these lines and sets, then let the session and the person's spans follow."""
    lock_persons(person_ids=[session.person_id])
    now = clock.now()
    _refuse_the_future([line.happened_at for line in lines] + [done.ended_at for done in sets], now)
    who = {"building_id": session.building_id, "session": session, "done_by": done_by, "entered_by": entered_by}
    Record.objects.bulk_create(
        Record(**asdict(line), reason_class=CLASS_OF.get(line.reason, ""), entered_at=now, **who)
        for line in _new(Record, session, lines)
    )
    Set.objects.bulk_create(
        Set(**_fields(done), load_kg=kilograms(done.load, done.load_unit), entered_at=now, **who)
        for done in _new(Set, session, sets)
    )
    return follow_lines(sessions=[session])[0]


def follow_lines(*, sessions: Sequence[Session]) -> list[Session]:
    """Write what the counting lines of these sessions add up to, and settle their persons, who must be locked."""
    fresh = list(Session.objects.filter(pk__in=[session.pk for session in sessions]).order_by("pk"))
    told = _told(fresh)
    touched = [session.starts_at for session in fresh] + [s.started_at for s in fresh if s.started_at]
    for session in fresh:
        for name, value in asdict(told[session.pk]).items():
            setattr(session, name, value)
        if session.started_at:
            touched.append(session.started_at)
        # Until settling says what it holds now: a fact's span is not the booking's, and what held nothing may hold.
        session.is_cut = True
        session.version += 1
    Session.objects.bulk_update(fresh, [*Happened.__dataclass_fields__, "is_cut", "version"])
    settle(person_ids=[session.person_id for session in fresh], since=min(touched, default=None))
    return list(Session.objects.filter(pk__in=[session.pk for session in fresh]).order_by("pk"))


@transaction.atomic
def move_to_right_resident(*, session: Session, to: Session, because: str, by: User) -> tuple[Session, Session]:
    """Sets and records written for the wrong resident go to another session; both histories show it."""
    if session.building_id != to.building_id:
        raise Refused("Both residents must be in this building.", problem="invalid")
    lock_persons(person_ids=[session.person_id, to.person_id])
    now = clock.now()
    happened = [Record.Kind.STARTED, Record.Kind.ENDED, Record.Kind.ATTEMPT]
    _copy(Record.objects.counting().filter(session=session, kind__in=happened), to, because=because, by=by, now=now)
    _copy(Set.objects.counting().filter(session=session), to, because=because, by=by, now=now)
    moved = {session.pk: session for session in follow_lines(sessions=[session, to])}
    return moved[session.pk], moved[to.pk]


@transaction.atomic
def take_back_lines(
    *, session: Session, records: Sequence[Record] = (), sets: Sequence[Set] = (), because: str, by: User
) -> Session:
    """Say that these lines were a mistake: they stay, and count no longer."""
    lock_persons(person_ids=[session.person_id])
    now = clock.now()
    _replace(Record, [line.pk for line in records], by=by, because=because, now=now)
    _replace(Set, [done.pk for done in sets], by=by, because=because, now=now)
    return follow_lines(sessions=[session])[0]


def _copy(written: QuerySet[Any], to: Session, *, because: str, by: User, now: datetime) -> None:
    """The same lines on another session, entered now; the old ones stay, replaced."""
    rows = list(written)
    _replace(written.model, [row.pk for row in rows], by=by, because=because, now=now)
    for row in rows:
        row.pk, row.session, row.entered_by, row.entered_at = None, to, by, now
        row.event_id = _follows(row.event_id, to.pk)
        row._state.adding = True
        if isinstance(row, Set):
            # A line of the other resident's exercise plan.
            row.line = None
    written.model.objects.bulk_create(rows)


def _replace(kind: type[Record] | type[Set], keys: Sequence[int], *, by: User, because: str, now: datetime) -> None:
    """Only these three columns of a line can change, and the database allows no others."""
    kind.objects.filter(pk__in=keys).update(replaced_at=now, replaced_by=by, replaced_because=because)


def _follows(event_id: UUID, session_id: int) -> UUID:
    """The same line on another session: made from both, so that moving twice is moving once."""
    return UUID(int=(event_id.int ^ (session_id << 1)) & ((1 << 128) - 1))


def _new(kind: type[Record] | type[Set], session: Session, sent: Sequence[Any]) -> list[Any]:
    """Those not taken before, each once: a phone may send the same line twice, also in one sending."""
    once = {line.event_id: line for line in reversed(sent)}
    taken = kind.objects.filter(building_id=session.building_id, event_id__in=once)
    known = set(taken.values_list("event_id", flat=True))
    return [line for event_id, line in reversed(once.items()) if event_id not in known]


def _fields(done: NewSet) -> dict[str, object]:
    # asdict would copy the rows it refers to.
    return {name: getattr(done, name) for name in NewSet.__dataclass_fields__}


def _told(sessions: Sequence[Session]) -> dict[int, Happened]:
    lines: dict[int, list[Line]] = defaultdict(list)
    for row in Record.objects.counting().filter(session__in=sessions):
        lines[row.session_id].append(Line(row.kind, row.happened_at))
    sets: dict[int, list[DoneSet]] = defaultdict(list)
    for row in Set.objects.counting().filter(session__in=sessions):
        sets[row.session_id].append(DoneSet(row.ended_at, row.seconds))
    return {session.pk: what_happened(lines[session.pk], sets[session.pk]) for session in sessions}


def _refuse_the_future(moments: Sequence[datetime], now: datetime) -> None:
    if any(moment > now for moment in moments):
        raise Refused("That is in the future. Enter what has already happened.", problem="in-the-future")


@transaction.atomic
def open_unplanned_session(*, resident: Resident, starts_at: datetime, ends_at: datetime) -> Session:
    """A visit that nobody had published: a row for its lines, which stands apart from attendance."""
    _refuse_the_future([starts_at], clock.now())
    if not starts_at < ends_at <= starts_at + LONGEST_VISIT:
        raise Invalid("A visit ends after it starts, within a day. Correct its times.", field="ends_at")
    plan = Prescription.objects.in_force().filter(resident=resident).first()
    if plan is None:
        raise Refused(f"{resident.name} has no exercise plan yet.", problem="no-exercise-plan")
    building = resident.building
    return Session.objects.create(
        building=building,
        resident=resident,
        person_id=resident.person_id,
        prescription=plan,
        starts_at=starts_at,
        ends_at=ends_at,
        day_closes_at=day_closes_at(openings_of(building), starts_at, building.zone),
        help_sixths=resident.help_sixths,
        recovery_hours=resident.recovery_hours,
        # Holds nothing until its lines are written.
        is_cut=True,
    )
