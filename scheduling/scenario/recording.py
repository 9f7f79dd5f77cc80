"""What happens to the sessions of a published week, written down as staff would: visit by visit within the hour."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from program import clock
from program.actions.records import Entry, NewLine, NewSet, write_entries
from program.actions.settling import settle_closed_day
from program.models import PrescriptionLine, Record, Session, ShiftTime, Slot, User
from program.rules.starting import IDENTIFIED_BY
from program.rules.states import State
from program.rules.week import Week
from scheduling.scenario.cast import Cast, Timeline
from scheduling.scenario.fates import Visit, cut_short_by_a_sign, fate_of
from scheduling.scenario.warning_signs import tell_warning_sign

# Common practice, no source: what is written within the hour was written at the station.
WITHIN = timedelta(minutes=58)
# After the turn has begun: helped on, then one slow set of eight to nine seconds a repetition.
HELPED_ON = timedelta(seconds=75)
EVENING, NEXT_MORNING = 20 * 60, 9 * 60 + 10
UNWRITTEN = frozenset({State.PUBLISHED, State.NOT_RECORDED})


def happen(cast: Cast, timeline: Timeline, week: Week) -> None:
    """Put the published sessions of a week on the timeline, each with its own fate, as far as the demo is told."""
    zone = cast.building.zone
    start, end = week.starts_at(zone), week.ends_at(zone)
    shifts = list(
        ShiftTime.objects.of(cast.building).filter(starts_at__lt=end, ends_at__gt=start).select_related("user")
    )
    visits = [visit for visit in _visits(cast, week) if visit.began_at <= cast.until]
    for batch in _batches(visit for visit in visits if not visit.is_entered_next_day):
        # Whoever is at a station when the demo is seen has what was done so far written down.
        written_at = min(max(visit.written_at for visit in batch), cast.until)
        by = _who(cast, shifts, batch[0])
        timeline.add(written_at, by, partial(_write, cast, timeline, batch, done_by=by, entered_by=by))
    for day in week.days:
        timeline.add(cast.at(day, EVENING), cast.coordinator, lambda: settle_closed_day(building=cast.building))
    for visit in visits:
        if visit.is_entered_next_day:
            done_by = _who(cast, shifts, visit)
            other = next(aide for aide in cast.aides if aide != done_by)
            morning = cast.at(_day(cast, visit) + timedelta(days=1), NEXT_MORNING)
            entering = partial(_write, cast, timeline, [visit], done_by=done_by, entered_by=other)
            timeline.add(morning, other, entering)


def _visits(cast: Cast, week: Week) -> list[Visit]:
    """In the order in which they begin."""
    zone = cast.building.zone
    published = Session.objects.of(cast.building).on_the_plan().select_related("resident")
    published = published.filter(starts_at__gte=week.starts_at(zone), starts_at__lt=week.ends_at(zone))
    sessions = list(published.order_by("starts_at", "pk"))
    visits = [visit for session in sessions if (visit := fate_of(cast, session))]
    return sorted(visits, key=lambda visit: visit.began_at)


def _batches(visits: Iterable[Visit]) -> Iterator[list[Visit]]:
    """What one aide writes down together, while it still counts as written at once."""
    batch: list[Visit] = []
    for visit in visits:
        if batch and visit.written_at > batch[0].began_at + WITHIN:
            yield batch
            batch = []
        batch.append(visit)
    if batch:
        yield batch


def _who(cast: Cast, shifts: Sequence[ShiftTime], visit: Visit) -> User:
    there = [shift.user for shift in shifts if shift.starts_at <= visit.began_at < shift.ends_at]
    return visit.dice.choice(there or cast.aides)


def _day(cast: Cast, visit: Visit) -> date:
    return visit.began_at.astimezone(cast.building.zone).date()


def _write(cast: Cast, timeline: Timeline, visits: Sequence[Visit], *, done_by: User, entered_by: User) -> None:
    keys = [visit.session_id for visit in visits]
    sessions = {one.pk: one for one in Session.objects.filter(pk__in=keys).prefetch_related("slots")}
    _read_lines(cast, sessions.values())
    entries, signs = [], []
    for visit in visits:
        session = sessions[visit.session_id]
        if session.state_at(clock.now()) not in UNWRITTEN or (session.held_from is None and not visit.instead):
            continue
        if session.held_from and session.held_from > visit.began_at:
            # Overtaken by a late one before it: begun as soon as the resident has recovered.
            later = replace(visit, began_at=session.held_from)
            again = partial(_write, cast, timeline, [later], done_by=done_by, entered_by=entered_by)
            timeline.add(max(later.written_at, clock.now()), done_by, again)
            continue
        told = cut_short_by_a_sign(cast, visit)
        lines, sets = _told(cast, told, session)
        if lines:
            entries.append(Entry(session, done_by, entered_by, lines, sets))
        if told.sign is not None:
            signs.append((session, told.sign))
    if entries:
        write_entries(entries=entries)
    for session, sign in signs:
        tell_warning_sign(cast, timeline, session, sign, by=done_by)


def _read_lines(cast: Cast, sessions: Iterable[Session]) -> None:
    missing = {session.prescription_id for session in sessions} - set(cast.lines)
    for line in PrescriptionLine.objects.filter(prescription__in=missing) if missing else ():
        cast.lines.setdefault(line.prescription_id, {})[line.station_id] = line


def _told(cast: Cast, visit: Visit, session: Session) -> tuple[list[NewLine], list[NewSet]]:
    """Start, sets and end, as far as they have happened by now."""
    now = clock.now()
    if visit.instead:
        return ([_line(visit, visit.instead, visit.began_at)] if visit.began_at <= now else []), []
    sets = list(_sets(cast, visit, session))[: visit.stations]
    ended_at = visit.began_at + visit.planned
    if visit.stations is not None and sets:
        ended_at = sets[-1].ended_at + timedelta(seconds=40)
    told = [_line(visit, Record.Kind.STARTED, visit.began_at)]
    if visit.sign is None:
        told.append(_line(visit, Record.Kind.ENDED, ended_at))
    return [line for line in told if line.happened_at <= now], [done for done in sets if done.ended_at <= now]


def _sets(cast: Cast, visit: Visit, session: Session) -> Iterator[NewSet]:
    prescribed = cast.lines[session.prescription_id]
    later = visit.began_at - session.starts_at
    for slot in session.slots.all():
        line = prescribed.get(slot.station_id)
        if line is not None and not _is_broken(cast, slot):
            repetitions = visit.dice.choice((7, 8, 8, 9, 9, 9, 10, 10, 10))
            seconds = round(repetitions * visit.dice.uniform(8.0, 9.0))
            yield NewSet(
                station=cast.station(slot.station_id),
                exercise=line.exercise,
                load=line.load,
                load_unit=line.load_unit,
                repetitions=repetitions,
                seconds=seconds,
                ended_at=slot.starts_at + later + HELPED_ON + timedelta(seconds=seconds),
                event_id=event_id(visit),
                line=line,
                more_possible=visit.dice.choice((0, 1, 1, 2, 2, 3, 4, None)),
                **_pain(visit),
            )


def _is_broken(cast: Cast, slot: Slot) -> bool:
    since = cast.out_of_order.get(slot.station_id)
    return since is not None and slot.starts_at >= since


def _pain(visit: Visit) -> dict[str, Any]:
    throw = visit.dice.random()
    if throw < 0.03:
        return {"pain_cannot_be_rated": True, "pain_signs_seen": False}
    if throw < 0.04:
        return {"pain": visit.dice.choice((4, 5))}
    return {"pain": visit.dice.choice((0, 0, 0, 0, 0, 1, 1, 2, 3))}


def _line(visit: Visit, kind: str, moment: datetime) -> NewLine:
    identified_by = visit.dice.choice(IDENTIFIED_BY) if kind == Record.Kind.STARTED else ""
    reason = "" if kind == Record.Kind.STARTED else visit.reason
    return NewLine(kind=kind, happened_at=moment, event_id=event_id(visit), reason=reason, identified_by=identified_by)


def event_id(visit: Visit) -> UUID:
    return UUID(int=visit.dice.getrandbits(128), version=4)
