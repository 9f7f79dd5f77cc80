"""Settling: after anything that touches sessions, every span of the persons is what the rule says it is."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import connection, transaction
from django.db.models import Max, Q, QuerySet

from program import clock
from program.actions.locks import lock_persons
from program.models import Building, Session, Slot
from program.models.scoped import whole_person
from program.rules.recovery import LEAST_RECOVERY, Claim, Held, Span, spans
from program.rules.states import HOLDS_NOTHING, State

# The longest recovery is 1,000 hours: what lies further back than two of them cannot reach what changed.
LOOK_BACK = timedelta(hours=2_100)
# Sessions last at most a day, and are told within another.
MARGIN = timedelta(hours=48)

LET_GO = """
UPDATE program_session SET held_from = NULL, held_until = NULL, is_cut = true
 WHERE id = ANY(%s) AND held_from IS NOT NULL
"""
TAKE = """
UPDATE program_session AS session
   SET held_from = told.held_from, held_until = told.held_until, is_cut = told.is_cut,
       is_too_soon = told.is_too_soon, version = session.version + 1
  FROM unnest(%s::bigint[], %s::timestamptz[], %s::timestamptz[], %s::boolean[], %s::boolean[])
       AS told (id, held_from, held_until, is_cut, is_too_soon)
 WHERE session.id = told.id
"""
TAKE_BACK = """
UPDATE program_slot AS slot SET is_held = true
 WHERE slot.session_id = ANY(%s) AND NOT slot.is_held
   AND NOT EXISTS (
       SELECT 1 FROM program_slot AS other
        WHERE other.station_id = slot.station_id AND other.is_held
          AND tstzrange(other.starts_at, other.ends_at) && tstzrange(slot.starts_at, slot.ends_at))
"""


@dataclass(frozen=True, slots=True)
class Change:
    """A session whose span differs from the rule's, and what the rule says."""

    session: Session
    held: Held


def settle(*, person_ids: Iterable[UUID], since: datetime | None = None) -> list[Session]:
    """Write the spans of these persons anew and return the sessions whose spans changed.

    `since` is the earliest instant that the change touched, now if not given. The persons must be locked.
    """
    persons = sorted(set(person_ids))
    moment = clock.now()
    earliest = min(since or moment, moment)
    with whole_person(persons):
        theirs = Session.objects.filter(person_id__in=persons)
        longest = _longest_recovery(theirs, earliest)
        # A span depends on what reaches its start, and so does the span before it that is to be written.
        reaching = theirs.filter(ends_at__gte=earliest - 2 * (longest + MARGIN))
        sessions = list(reaching.order_by("person_id", "pk"))
        changes = [
            change
            for person in persons
            for change in _changes([session for session in sessions if session.person_id == person], moment)
            if change.session.ends_at >= earliest - longest - MARGIN
        ]
        _write(changes)
    _release_stations([session for session in sessions if _has_left(session, moment)])
    _take_stations_back([session.pk for session in sessions if not _has_left(session, moment)])
    return [change.session for change in changes]


def _longest_recovery(theirs: QuerySet[Session], earliest: datetime) -> timedelta:
    """Of all that could reach what changed: mostly two days, and then little has to be read."""
    told = theirs.filter(ends_at__gte=earliest - LOOK_BACK).aggregate(longest=Max("recovery_hours"))
    return max(timedelta(hours=float(told["longest"] or 0)), LEAST_RECOVERY)


def claim_of(session: Session, moment: datetime) -> Claim | None:
    """What a session asks for at `moment`; None when it holds nothing."""
    state = session.state_at(moment)
    if state in HOLDS_NOTHING:
        return None
    recovery = timedelta(hours=float(session.recovery_hours))
    if session.started_at and (ended_at := session.really_ended_at):
        return Claim(session.pk, session.started_at, ended_at, is_fact=True, recovery=recovery)
    start = session.started_at or session.starts_at
    planned = session.ends_at - session.starts_at
    return Claim(session.pk, start, start + planned, is_fact=False, recovery=recovery)


def _changes(sessions: list[Session], moment: datetime) -> list[Change]:
    claims = [claim for session in sessions if (claim := claim_of(session, moment))]
    held = spans(claims)
    changes = []
    for session in sessions:
        # What nobody published and nothing is left of has let go for good, and only what is cut may.
        told = held.get(session.pk) or Held(span=None, is_cut=session.published_at is None)
        stands = Span(session.held_from, session.held_until) if session.held_from and session.held_until else None
        if (stands, session.is_cut, session.is_too_soon) != (told.span, told.is_cut, told.is_too_soon):
            changes.append(Change(session, told))
    return changes


def _write(changes: list[Change]) -> None:
    if not changes:
        return
    keys = [change.session.pk for change in changes]
    spans_now = [change.held.span for change in changes]
    with connection.cursor() as cursor:
        # Let go in one statement, take in the next: the constraint is not deferrable, and looks at every row.
        cursor.execute(LET_GO, [keys])
        cursor.execute(
            TAKE,
            [
                keys,
                [span and span.start for span in spans_now],
                [span and span.until for span in spans_now],
                [change.held.is_cut for change in changes],
                [change.held.is_too_soon for change in changes],
            ],
        )
    for change in changes:
        span = change.held.span
        change.session.held_from, change.session.held_until = (span.start, span.until) if span else (None, None)
        change.session.is_cut, change.session.is_too_soon = change.held.is_cut, change.held.is_too_soon
        change.session.version += 1


def _has_left(session: Session, moment: datetime) -> bool:
    """Whether the stations are free again: done and ended, or not going to happen."""
    state = session.state_at(moment)
    return state in HOLDS_NOTHING or (state is State.DONE and session.ended_at is not None)


def _release_stations(sessions: list[Session]) -> None:
    if sessions:
        Slot.objects.filter(session__in=sessions, is_held=True).update(is_held=False)


def _take_stations_back(session_ids: list[int]) -> None:
    """What a correction brings back has its stations again; one that somebody has taken meanwhile stays theirs."""
    with connection.cursor() as cursor:
        cursor.execute(TAKE_BACK, [session_ids])


@transaction.atomic
def settle_closed_day(*, building: Building) -> list[Session]:
    """Settle the persons of sessions that a closed day has ended, and that still hold something."""
    closed = (
        Session.objects.of(building)
        .on_the_plan()
        .filter(
            Q(attempted_at__isnull=False) | Q(started_at__isnull=False),
            day_closes_at__lte=clock.now(),
            sets_done=0,
            held_from__isnull=False,
        )
    )
    persons = list(closed.values_list("person_id", flat=True))
    if not persons:
        return []
    earliest = min(closed.values_list("starts_at", flat=True))
    lock_persons(person_ids=persons)
    return settle(person_ids=persons, since=earliest)
