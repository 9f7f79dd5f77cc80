"""Writing down what happened: lines are added once each, in any order, and the session follows from them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from program import clock
from program.actions.locks import lock_persons
from program.actions.settling import settle
from program.models import PrescriptionLine, Record, Session, Set, Station, User
from program.rules.errors import Invalid, Refused
from program.rules.lines import DoneSet, Happened, Line, what_happened
from program.rules.phone_clock import corrected
from program.rules.reasons import CLASS_OF
from program.rules.units import kilograms

# What really happened may have happened on another day than planned, but not in another week.
FURTHEST = timedelta(days=7)
# What staff wrote; the other kinds belong to the plan.
TAKEN_BACK = (Record.Kind.STARTED, Record.Kind.ATTEMPT, Record.Kind.ENDED, Record.Kind.GIVEN_UP)
# What must be the same for the same event.
SAME_LINE, SAME_SET = ("kind",), ("station", "exercise", "load", "repetitions", "seconds")
COLUMNS = tuple(Happened.__dataclass_fields__)
FOLLOW = f"""
UPDATE program_session AS session
   SET ({", ".join(COLUMNS)}, is_cut, version) = ROW ({", ".join(f"told.{one}" for one in COLUMNS)}, true, version + 1)
  FROM unnest(%s::bigint[], %s::timestamptz[], %s::int[]{", %s::timestamptz[]" * 5}) AS told (id, {", ".join(COLUMNS)})
 WHERE session.id = told.id
"""  # noqa: S608 - made of our own words


@dataclass(frozen=True, slots=True)
class NewLine:
    """A record to be written; `event_id` makes it safe to send twice."""

    kind: str
    happened_at: datetime
    event_id: UUID
    reason: str = ""
    note: str = ""
    identified_by: str = ""
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


@dataclass(frozen=True, slots=True)
class Entry:
    """What is written about one session: by whom it was done, and by whom it is entered."""

    session: Session
    done_by: User
    entered_by: User
    lines: Sequence[NewLine] = ()
    sets: Sequence[NewSet] = ()


def write_lines(
    *,
    session: Session,
    lines: Sequence[NewLine] = (),
    sets: Sequence[NewSet] = (),
    done_by: User,
    entered_by: User,
    sent_at: datetime | None = None,
) -> Session:
    """As `write_entries`, about one session."""
    entry = Entry(session, done_by, entered_by, lines, sets)
    return write_entries(entries=[entry], sent_at=sent_at)[0]


@transaction.atomic
def write_entries(*, entries: Sequence[Entry], sent_at: datetime | None = None) -> list[Session]:
    """Add what is new of these lines and sets, then let the sessions and their persons' spans follow.

    `sent_at` is when a phone sent them, by its own clock: times are corrected by how far that is off, and both kept.
    The sessions come back in the order of their ids.
    """
    lock_persons(person_ids={entry.session.person_id for entry in entries})
    now = clock.now()
    if sent_at is not None:
        entries = [_by_our_clock(entry, sent_at, now) for entry in entries]
    for entry in entries:
        _refuse_other_times(entry, now)
    lines = _new(Record, [(entry, line) for entry in entries for line in entry.lines])
    sets = _new(Set, [(entry, done) for entry in entries for done in entry.sets])
    Record.objects.bulk_create(
        Record(**asdict(line), reason_class=CLASS_OF.get(line.reason, ""), **_who(entry, now)) for entry, line in lines
    )
    Set.objects.bulk_create(
        Set(**_fields(done), load_kg=kilograms(done.load, done.load_unit), **_who(entry, now)) for entry, done in sets
    )
    # What was sent before changes nothing, not even a version.
    told = [entry.session for entry, _ in [*lines, *sets]]
    changed = follow_lines(sessions=told) if told else []
    unchanged = {entry.session.pk for entry in entries} - {session.pk for session in changed}
    if unchanged:
        changed += Session.objects.filter(pk__in=unchanged)
    return sorted(changed, key=lambda session: session.pk)


def _who(entry: Entry, now: datetime) -> dict[str, Any]:
    return {
        "building_id": entry.session.building_id,
        "session": entry.session,
        "done_by": entry.done_by,
        "entered_by": entry.entered_by,
        "entered_at": now,
    }


def _by_our_clock(entry: Entry, sent_at: datetime, now: datetime) -> Entry:
    """The same entry in our time; what the phone's clock said stays beside it where it differs.

    Whatever has arrived before plays no part, so that the order of sending changes nothing; that nothing ends before
    the session's start follows from all lines together (`what_happened`).
    """
    lines, sets = [], []
    for line in entry.lines:
        moment = corrected(line.happened_at, sent_at=sent_at, received_at=now)
        kept = line.happened_at if moment != line.happened_at else None
        lines.append(replace(line, happened_at=moment, phone_happened_at=kept))
    for done in entry.sets:
        moment = corrected(done.ended_at, sent_at=sent_at, received_at=now)
        kept = done.ended_at if moment != done.ended_at else None
        sets.append(replace(done, ended_at=moment, phone_happened_at=kept))
    return replace(entry, lines=lines, sets=sets)


def follow_lines(*, sessions: Sequence[Session]) -> list[Session]:
    """Write what the counting lines of these sessions add up to, and settle their persons, who must be locked."""
    fresh = list(Session.objects.filter(pk__in=[session.pk for session in sessions]).order_by("pk"))
    told = _told(fresh)
    touched = [session.starts_at for session in fresh] + [s.started_at for s in fresh if s.started_at]
    touched += [happened.started_at for happened in told.values() if happened.started_at]
    columns = [[getattr(told[session.pk], name) for session in fresh] for name in COLUMNS]
    with connection.cursor() as cursor:
        # Cut until settling says what it holds now: a fact's span is not the booking's, and what held nothing may hold.
        cursor.execute(FOLLOW, [[session.pk for session in fresh], *columns])
    settle(person_ids=[session.person_id for session in fresh], since=min(touched, default=None))
    return list(Session.objects.filter(pk__in=[session.pk for session in fresh]).order_by("pk"))


@transaction.atomic
def take_back_lines(
    *, session: Session, records: Sequence[Record] = (), sets: Sequence[Set] = (), because: str, by: User
) -> Session:
    """Say that these lines of the session were a mistake: they stay, and count no longer."""
    if not records and not sets:
        raise Invalid("Choose at least one line that was a mistake.", field="records")
    if any(line.session_id != session.pk for line in [*records, *sets]):
        raise Invalid("These lines are not all of this session.", field="records")
    if any(line.kind not in TAKEN_BACK for line in records):
        raise Invalid("A line of the plan cannot be taken back. Change the plan instead.", field="records")
    lock_persons(person_ids=[session.person_id])
    now = clock.now()
    replace_lines(Record, [line.pk for line in records], by=by, because=because, now=now)
    replace_lines(Set, [done.pk for done in sets], by=by, because=because, now=now)
    return follow_lines(sessions=[session])[0]


def replace_lines(
    kind: type[Record] | type[Set], keys: Sequence[int], *, by: User, because: str, now: datetime
) -> None:
    """Only these three columns of a line can change, and the database allows no others."""
    kind.objects.filter(pk__in=keys).update(replaced_at=now, replaced_by=by, replaced_because=because)


def _new(kind: type[Record] | type[Set], sent: Sequence[tuple[Entry, Any]]) -> list[tuple[Entry, Any]]:
    """Those not taken before, each once: a phone may send the same line twice, also in one sending."""
    once = {(entry.session.building_id, line.event_id): (entry, line) for entry, line in reversed(sent)}
    taken = kind.objects.filter(
        building_id__in={building_id for building_id, _ in once}, event_id__in=[event_id for _, event_id in once]
    )
    known = {(row.building_id, row.event_id): row for row in taken}
    for key, row in known.items():
        _refuse_another_thing(row, *once[key])
    return [told for key, told in reversed(once.items()) if key not in known]


def _refuse_another_thing(row: Record | Set, entry: Entry, told: NewLine | NewSet) -> None:
    """The same event sent again is taken as one; something else under its id would be lost in silence."""
    same = SAME_SET if isinstance(row, Set) else SAME_LINE
    if row.session_id != entry.session.pk or any(getattr(row, name) != getattr(told, name) for name in same):
        raise Invalid(
            "That event id belongs to something else. Give each thing that you send its own.", field="event_id"
        )


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


def _refuse_other_times(entry: Entry, now: datetime) -> None:
    """Neither what is still to come, nor what a clock that was reset puts into another year."""
    moments = [line.happened_at for line in entry.lines] + [done.ended_at for done in entry.sets]
    refuse_the_future(moments, now)
    if any(abs(moment - entry.session.starts_at) > FURTHEST for moment in moments):
        raise Invalid("That is more than a week away from this session. Correct the time.", field="happened_at")


def refuse_the_future(moments: Sequence[datetime], now: datetime) -> None:
    if any(moment > now for moment in moments):
        raise Refused("That is in the future. Enter what has already happened.", problem="in-the-future")
