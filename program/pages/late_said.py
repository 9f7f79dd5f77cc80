"""A late entry in words: by whom, how late, and what it means for the sessions before and after."""

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from django.db.models import Max

from program import clock
from program.actions.settling import LOOK_BACK
from program.models import Record, Session, Set, User
from program.models.session import SessionQuerySet
from program.pages.sessions_said import Said, said
from program.rules.late_entry import hours_and_minutes, late_entry
from program.rules.states import State
from program.rules.week import date_and_time

# Which line tells best when and by whom a session was written about.
TELLING = (Record.Kind.ENDED, Record.Kind.GIVEN_UP, Record.Kind.WITHDRAWN, Record.Kind.ATTEMPT, Record.Kind.STARTED)


@dataclass(frozen=True, slots=True)
class WrittenAbout:
    """A session that somebody has written about, and by whom: empty where nothing tells it."""

    said: Said
    by_whom: str


def written_about(session: Session, now: datetime) -> WrittenAbout:
    """Of a session read with its records and sets, whose people are read with them."""
    lines = [line for line in session.records.all() if line.kind in TELLING and line.replaced_at is None]
    line = min(lines, key=lambda line: TELLING.index(Record.Kind(line.kind)), default=None)
    if line is not None:
        return WrittenAbout(said(session, now), _by_whom(line, session))
    sets = [done for done in session.sets.all() if done.replaced_at is None]
    latest = max(sets, key=lambda done: done.ended_at, default=None)
    by_whom = _told(latest, latest.ended_at, session, is_done=True) if latest else ""
    return WrittenAbout(said(session, now), by_whom)


def _by_whom(line: Record, session: Session) -> str:
    return _told(line, line.happened_at, session, is_done=line.kind == Record.Kind.ENDED)


def _told(line: Record | Set, happened_at: datetime, session: Session, *, is_done: bool) -> str:
    when = date_and_time(line.entered_at, session.building.zone)
    told = f"Entered by {line.entered_by.name} {when}."
    if is_done:
        told = f"Done by {line.done_by.name}, entered by {line.entered_by.name} {when}."
    late = late_entry(happened_at, line.entered_at)
    return f"{told} Late entry: {hours_and_minutes(late)}." if late else told


def told_after(session: Session, happened_at: datetime, *, done_by: User, entered_by: User) -> str:
    """What whoever has saved a late entry reads; `happened_at` is when the session ended, or was given up."""
    zone, now = session.building.zone, clock.now()
    told = [f"Saved for {session.resident.name}: done by {done_by.name}, entered by {entered_by.name}."]
    if session.state_at(now) is not State.DONE:
        told = [f"Saved for {session.resident.name}: it did not happen. Entered by {entered_by.name}."]
    if late := late_entry(happened_at, now):
        told.append(f"Late entry: {hours_and_minutes(late)} after {_what_it_follows(session, now)}.")
    too_soon, overtaken = _too_soon(session, entered_by), _overtaken(session, entered_by, now)
    told += too_soon
    told += [f"{date_and_time(one.starts_at, zone)} is too early now: have it moved." for one in overtaken]
    if too_soon or overtaken:
        done = _of_the_resident(session, entered_by).filter(sets_done__gt=0)
        free = done.aggregate(latest=Max("held_until"))["latest"]
        told.append(f"The next session may begin from {date_and_time(free, zone)}.")
    return " ".join(told)


def _what_it_follows(session: Session, now: datetime) -> str:
    return "it ended" if session.state_at(now) is State.DONE else "its planned start"


def _of_the_resident(session: Session, user: User) -> SessionQuerySet:
    return Session.objects.visible_to(user).of(session.building).filter(resident=session.resident_id)


def _too_soon(session: Session, user: User) -> list[str]:
    """This session and those after it that began before the resident had recovered."""
    if session.started_at is None:
        return []
    since = session.started_at - LOOK_BACK
    done = _of_the_resident(session, user).filter(sets_done__gt=0, started_at__gte=since).order_by("started_at", "pk")
    told = []
    for before, after in pairwise(done):
        if after.is_too_soon and after.started_at >= session.started_at:
            rest = hours_and_minutes(after.started_at - before.really_ended_at)
            when = date_and_time(after.started_at, session.building.zone)
            told.append(f"{when} was too soon: {rest} after the session before.")
    return told


def _overtaken(session: Session, user: User, now: datetime) -> list[Session]:
    coming = _of_the_resident(session, user).on_the_plan().filter(started_at__isnull=True, day_closes_at__gt=now)
    return [one for one in coming.order_by("starts_at") if one.is_overtaken]
