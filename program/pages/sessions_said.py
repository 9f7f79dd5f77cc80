"""What a session is at a moment, in the words of staff."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from program.models import Record, Session
from program.rules.states import State, is_late
from program.rules.week import clock_time, day_and_time

KINDS = {
    State.PUBLISHED: "info",
    State.STARTED: "info",
    State.DONE: "ok",
    State.GIVEN_UP: "wait",
    State.WITHDRAWN: "info",
    State.ENDED_WITHOUT_A_SET: "wait",
    State.MISSED: "wait",
    State.NOT_RECORDED: "wait",
}


@dataclass(frozen=True, slots=True)
class Said:
    """A session with its state in words, a chip's kind, and whatever else must be known of it."""

    session: Session
    state: State
    kind: str
    words: str
    notes: tuple[str, ...]
    is_open: bool

    @property
    def left_out(self) -> int:
        """How many stations the session goes on without."""
        return len(self.session.left_out)


def said(session: Session, now: datetime) -> Said:
    state = session.state_at(now)
    kind, words = KINDS[state], state.value.capitalize()
    if state is State.DONE and session.ended_at is None and now < session.day_closes_at:
        kind, words = "info", f"At the stations, {session.sets_done} set{'' if session.sets_done == 1 else 's'} done"
    if is_late(session.traces, now, timedelta(minutes=session.building.grace_minutes)):
        kind, words = "wait", "Late: not started yet"
    if session.is_overtaken and state is State.PUBLISHED:
        kind, words = "stop", overtaken(session)
    return Said(session, state, kind, words, tuple(_notes(session)), state is State.PUBLISHED)


def overtaken(session: Session) -> str:
    zone = session.building.zone
    when = day_and_time(session.starts_at, zone)
    if session.held_from is None:
        return f"{when} is too early: it must be moved"
    if session.held_from.astimezone(zone).date() != session.starts_at.astimezone(zone).date():
        return f"{when} is too early: possible from {day_and_time(session.held_from, zone)}"
    minutes = -(-(session.held_from - session.starts_at) // timedelta(minutes=1))
    return f"{when} is {minutes} min too early: possible from {clock_time(session.held_from, zone)}"


def _notes(session: Session) -> list[str]:
    notes = []
    if session.is_too_soon:
        notes.append("Too soon after the session before")
    if session.is_locked:
        notes.append("Stays where it is")
    lines = [line for line in session.records.all() if line.reason and line.replaced_at is None]
    reasons = [f"tried: {line.reason}" if line.kind == Record.Kind.ATTEMPT else line.reason for line in lines]
    return [*notes, *dict.fromkeys(reasons)]
