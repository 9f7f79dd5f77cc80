"""What was read of a week becomes a roster problem."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from math import floor

from program.models import Building, Closure, Pairing, PrescriptionLine, Resident, Session, Station
from program.rules.opening import Stretch
from scheduling import problem as roster_problem
from scheduling.load import reading
from scheduling.load.blocks import Calendar, Frame, free_of
from scheduling.load.costs import cost_of_starts
from scheduling.load.weights import SHORT_GAP, SHORT_GAP_HOURS, TOGETHER
from scheduling.problem import Problem, Value
from scheduling.times import Block

SIXTHS_A_PERSON = 6


@dataclass(frozen=True, slots=True)
class Read:
    """Everything read of a week, before it becomes a problem; by the residents' keys in the database."""

    building: Building
    frame: Frame
    days: Sequence[Stretch]
    closures: Sequence[Closure]
    stations: Sequence[Station]
    residents: Sequence[Resident]
    lines: Mapping[int, Sequence[PrescriptionLine]]
    sessions_a_week: Mapping[int, int]
    calendars: Mapping[int, Calendar]
    fixed: Mapping[int, Sequence[Session]]
    neighbours: Mapping[int, reading.Neighbours]
    overdue: frozenset[int]


def make_problem(
    read: Read,
    asked: Mapping[str, int],
    worth: Mapping[str, tuple[int, ...]],
    blocks: Mapping[int, tuple[Block, ...]],
    pairs: Sequence[Pairing],
    has_buffer: bool,
) -> Problem:
    building, present = read.building, {one.pk for one in read.residents}
    turn = timedelta(minutes=building.turn_minutes)
    buffer = building.buffer_turns * turn if has_buffer else timedelta(0)
    told = [pair for pair in pairs if pair.first_id in present and pair.second_id in present]
    return Problem(
        timezone=building.timezone,
        turn=turn,
        days=tuple(roster_problem.Day(day.start, day.end) for day in read.days),
        stations=tuple(_station(read, station) for station in read.stations),
        supervision=tuple(
            roster_problem.Supervision(time.starts_at, time.ends_at, SIXTHS_A_PERSON)
            for time in reading.shift_times_in(building, read.frame.start, read.frame.until)
        ),
        residents=tuple(
            _resident(read, one, asked[str(one.pk)], worth[str(one.pk)], blocks[one.pk], buffer)
            for one in read.residents
        ),
        max_wait_turns=building.max_wait_turns,
        apart=tuple((str(p.first_id), str(p.second_id)) for p in told if p.kind == Pairing.Kind.APART),
        together=tuple(
            roster_problem.Together((str(p.first_id), str(p.second_id)), TOGETHER)
            for p in told
            if p.kind == Pairing.Kind.TOGETHER
        ),
    )


def _station(read: Read, station: Station) -> roster_problem.Station:
    closed = [
        roster_problem.Span(
            max(closure.starts_at, read.frame.start), min(closure.ends_at or read.frame.until, read.frame.until)
        )
        for closure in read.closures
        if closure.station_id == station.pk
    ]
    return roster_problem.Station(station.name, tuple(closed))


def _resident(
    read: Read, resident: Resident, asked: int, worth: tuple[int, ...], blocks: Sequence[Block], buffer: timedelta
) -> roster_problem.Resident:
    building, turn = read.building, timedelta(minutes=read.building.turn_minutes)
    near = read.neighbours[resident.pk]
    needs = _needs(read.lines.get(resident.pk, ()))
    fixed = tuple(_fixed(session, read) for session in read.fixed.get(resident.pk, ()))
    return roster_problem.Resident(
        id=str(resident.pk),
        sessions=asked,
        stations=needs,
        supervision=resident.help_sixths,
        available=free_of(read.days, blocks),
        rewards=worth,
        recovery_hours=_hours(resident.recovery_hours, buffer),
        recovered_at=near.recovered_at + buffer if near.recovered_at else None,
        next_session_at=near.next_session_at,
        skips_closed_stations=building.skips_closed_stations,
        escort=_escort(resident, building.turn_minutes),
        cost=cost_of_starts(
            days=read.days,
            zone=building.zone,
            length=sum((need.turns for need in needs), 0) * turn,
            preferred_half=resident.preferred_half,
            usual=_brought_here(near.usual, read.frame),
            movable=[
                roster_problem.Span(time.blocks_from, time.blocks_until)
                for time in read.calendars[resident.pk].times
                if time.commitment.is_movable
            ],
        ),
        short_gap=roster_problem.ShortGap(SHORT_GAP_HOURS, SHORT_GAP),
        fixed=fixed,
    )


def _needs(lines: Sequence[PrescriptionLine]) -> tuple[roster_problem.Requirement, ...]:
    """Two exercises at one station are one longer stay there."""
    turns: dict[str, int] = {}
    for line in lines:
        turns[line.station.name] = turns.get(line.station.name, 0) + line.turns
    return tuple(roster_problem.Requirement(station, count) for station, count in turns.items())


def _escort(resident: Resident, turn_minutes: int) -> roster_problem.Escort | None:
    if not resident.escort_people:
        return None
    return roster_problem.Escort(-(-resident.escort_minutes // turn_minutes), resident.escort_people * SIXTHS_A_PERSON)


def _fixed(session: Session, read: Read) -> roster_problem.FixedSession:
    """A session that stands: where it is planned, until its time is over or it has ended; then when it really was."""
    known = {station.pk for station in read.stations}
    slots = tuple(
        roster_problem.Slot(slot.station.name, slot.starts_at, slot.ends_at)
        for slot in session.slots.all()
        if slot.station_id in known
    )
    is_over = session.ended_at is not None or session.ends_at <= read.frame.moment
    if slots and not (session.sets_done and is_over):
        return roster_problem.FixedSession(slots)
    # What happened without a plan is somewhere on the circuit; the problem wants to know where.
    somewhere = slots[0].station if slots else read.stations[0].name
    start, end = session.started_at or session.starts_at, session.really_ended_at or session.ends_at
    return roster_problem.FixedSession((roster_problem.Slot(somewhere, start, end),))


def _hours(recovery: Decimal, buffer: timedelta) -> Value:
    exact = Fraction(recovery) + Fraction(int(buffer.total_seconds()), 3600)
    # A problem file takes twelve decimals; cut there, the hours still round up to the same microsecond.
    told = Fraction(floor(exact * 10**12), 10**12)
    return int(told) if told.denominator == 1 else told


def _brought_here(usual: Sequence[datetime], frame: Frame) -> list[datetime]:
    """The same weekday and wall-clock time in the week that is looked at."""
    by_weekday = {day.weekday(): day for day in frame.days}
    local = [start.astimezone(frame.zone) for start in usual]
    return [
        start.replace(year=day.year, month=day.month, day=day.day)
        for start in local
        if (day := by_weekday[start.weekday()])
    ]
