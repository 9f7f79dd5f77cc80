"""What happens to the sessions of a published week, written down as staff would: mostly done, some not."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from random import Random
from typing import Any
from uuid import UUID

from program import clock
from program.actions.records import NewLine, NewSet, write_lines
from program.actions.settling import settle_closed_day
from program.models import Record, Session, ShiftTime, Slot, User
from program.rules.states import State
from program.rules.week import Week
from scheduling.scenario.cast import Cast, Timeline

GIVEN_UP, ATTEMPTED, LATE, FORGOTTEN = 0.06, 0.02, 0.04, 0.01
REASONS = (
    *("declined",) * 5,
    *("asleep",) * 3,
    *("unwell",) * 3,
    *("visitors", "pain", "no staff", "no staff", "not brought", "ran late"),
)
# After the turn has begun: helped on, then one slow set of eight to nine seconds a repetition.
HELPED_ON = timedelta(seconds=75)
WRITTEN_DOWN = timedelta(minutes=2)
EVENING = 20 * 60


@dataclass(frozen=True, slots=True)
class Visit:
    """How one session goes: so much later than planned, or not at all, with the reason."""

    session_id: int
    dice: Random
    by: User
    delay: timedelta
    instead: str = ""
    reason: str = ""


def happen(cast: Cast, timeline: Timeline, week: Week, *, until: datetime) -> None:
    """Put the published sessions of a week on the timeline, each with its own fate, as far as `until`."""
    zone = cast.building.zone
    start, end = week.starts_at(zone), week.ends_at(zone)
    sessions = Session.objects.of(cast.building).on_the_plan().filter(starts_at__gte=start, starts_at__lt=end)
    shifts = list(
        ShiftTime.objects.of(cast.building).filter(starts_at__lt=end, ends_at__gt=start).select_related("user")
    )
    for session in sessions.select_related("resident").order_by("starts_at", "pk"):
        dice = cast.plan.dice(f"{session.resident.key} {session.starts_at.isoformat()}")
        visit = _visit(session, dice, _who(shifts, session, dice) or dice.choice(cast.aides))
        written_at = (session.starts_at if visit.instead else session.ends_at) + visit.delay + WRITTEN_DOWN
        # Whoever is at a station now has what was done so far written down.
        timeline.add(min(written_at, until), visit.by, partial(_write, cast, visit))
    for day in week.days:
        timeline.add(cast.at(day, EVENING), cast.coordinator, lambda: settle_closed_day(building=cast.building))


def _visit(session: Session, dice: Random, by: User) -> Visit:
    throw, delay = dice.random(), timedelta(minutes=dice.choice((0, 0, 1, 1, 2, 3, 5)))
    if throw < GIVEN_UP:
        return Visit(session.pk, dice, by, delay, Record.Kind.GIVEN_UP, dice.choice(REASONS))
    if throw < GIVEN_UP + ATTEMPTED:
        return Visit(session.pk, dice, by, delay, Record.Kind.ATTEMPT, "asleep")
    if throw < GIVEN_UP + ATTEMPTED + LATE:
        return Visit(session.pk, dice, by, timedelta(minutes=dice.randint(42, 58)))
    return Visit(session.pk, dice, by, delay)


def _who(shifts: list[ShiftTime], session: Session, dice: Random) -> User | None:
    there = [shift.user for shift in shifts if shift.starts_at <= session.starts_at < shift.ends_at]
    return dice.choice(there) if there else None


def _write(cast: Cast, visit: Visit) -> None:
    session = (
        Session.objects.select_related("prescription")
        .prefetch_related("slots__station", "prescription__lines")
        .get(pk=visit.session_id)
    )
    is_held = session.held_from is not None or bool(visit.instead)
    if session.state_at(clock.now()) is not State.PUBLISHED or not is_held or visit.dice.random() < FORGOTTEN:
        return
    # Overtaken by a late one before it: begun as soon as the resident has recovered.
    began_at = max(session.starts_at, session.held_from or session.starts_at) + visit.delay
    lines: list[NewLine]
    sets: list[NewSet]
    if visit.instead:
        lines, sets = [_line(visit, visit.instead, began_at)] if began_at <= clock.now() else [], []
    else:
        lines, sets = _done(cast, visit, session, began_at)
    if lines:
        write_lines(session=session, lines=lines, sets=sets, done_by=visit.by, entered_by=visit.by)


def _done(cast: Cast, visit: Visit, session: Session, began_at: datetime) -> tuple[list[NewLine], list[NewSet]]:
    """Start, sets and end, as far as they have happened by now."""
    now = clock.now()
    ended_at = began_at + (session.ends_at - session.starts_at)
    told = [(Record.Kind.STARTED, began_at), (Record.Kind.ENDED, ended_at)]
    lines = [_line(visit, kind, moment) for kind, moment in told if moment <= now]
    sets = [done for done in _sets(cast, visit, session, began_at - session.starts_at) if done.ended_at <= now]
    return lines, sets


def _sets(cast: Cast, visit: Visit, session: Session, later: timedelta) -> Iterator[NewSet]:
    prescribed = {line.station_id: line for line in session.prescription.lines.all()}
    for slot in session.slots.all():
        line = prescribed.get(slot.station_id)
        if line is not None and not _is_broken(cast, slot):
            repetitions = visit.dice.choice((7, 8, 8, 9, 9, 9, 10, 10, 10))
            seconds = round(repetitions * visit.dice.uniform(8.0, 9.0))
            yield NewSet(
                station=slot.station,
                exercise=line.exercise,
                load=line.load,
                load_unit=line.load_unit,
                repetitions=repetitions,
                seconds=seconds,
                ended_at=slot.starts_at + later + HELPED_ON + timedelta(seconds=seconds),
                event_id=_event_id(visit.dice),
                line=line,
                more_possible=visit.dice.choice((0, 1, 1, 2, 2, 3, 4, None)),
                **_pain(visit.dice),
            )


def _is_broken(cast: Cast, slot: Slot) -> bool:
    since = cast.out_of_order.get(slot.station_id)
    return since is not None and slot.starts_at >= since


def _pain(dice: Random) -> dict[str, Any]:
    throw = dice.random()
    if throw < 0.03:
        return {"pain_cannot_be_rated": True, "pain_signs_seen": False}
    if throw < 0.04:
        return {"pain": dice.choice((4, 5))}
    return {"pain": dice.choice((0, 0, 0, 0, 0, 1, 1, 2, 3))}


def _line(visit: Visit, kind: str, moment: datetime) -> NewLine:
    return NewLine(kind=kind, happened_at=moment, event_id=_event_id(visit.dice), reason=visit.reason)


def _event_id(dice: Random) -> UUID:
    return UUID(int=dice.getrandbits(128), version=4)
