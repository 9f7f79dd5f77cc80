"""One week of one building as a roster problem, with what is needed to say its answer in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from program import clock
from program.models import Building, Closure, Pairing, PrescriptionLine, Resident, Session, Station
from program.rules.overdue import is_overdue
from program.rules.states import HOLDS_NOTHING, State
from program.rules.week import Week
from scheduling.load import reading
from scheduling.load.blocks import Calendar, Frame, blocks_of, movable_of
from scheduling.load.making import Read, make_problem
from scheduling.load.weights import rewards
from scheduling.problem import Problem
from scheduling.times import Block


@dataclass(frozen=True, slots=True)
class Loaded:
    """The problem of a week; residents are named by their key in the database, stations by their name.

    `loose` are published sessions that can no longer happen as they stand; they are planned again. `prescribed` counts
    the sessions of the week that the exercise plans ask for, `booked` those that stand.
    """

    building: Building
    week: Week
    problem: Problem
    residents: Mapping[str, Resident]
    stations: Mapping[str, Station]
    lines: Mapping[str, Sequence[PrescriptionLine]]
    blocks: Mapping[str, tuple[Block, ...]]
    movable: Mapping[str, tuple[Block, ...]]
    loose: tuple[Session, ...]
    prescribed: int
    booked: int


def load_week(*, building: Building, week: Week, has_buffer: bool = True, without: Session | None = None) -> Loaded:
    """The problem of `week`, as things stand now.

    `has_buffer`: the planning buffer on top of recovery, for whatever the service proposes; a person may choose a time
    inside it. `without`: a session that is to be moved, so that it does not stand in its own way.
    """
    start, until, moment = week.starts_at(building.zone), week.ends_at(building.zone), clock.now()
    sessions = [session for session in reading.sessions_in(building, start, until) if session != without]
    standing = [session for session in sessions if session.state_at(moment) not in HOLDS_NOTHING]
    residents = _with_booked(reading.residents_in(building, start, until), standing)
    closures = reading.closures_in(building, start, until)
    frame = _frame(building, week, moment)
    calendars = _calendars(residents, closures, start, until, week)
    blocks = {resident.pk: blocks_of(frame, calendars[resident.pk]) for resident in residents}
    loose = tuple(one for one in standing if _cannot_happen(one, blocks.get(one.resident_id, ()), closures, moment))
    fixed: dict[int, list[Session]] = {resident.pk: [] for resident in residents}
    for session in standing:
        if session not in loose:
            fixed.setdefault(session.resident_id, []).append(session)
    plans = reading.plans_of(residents)
    read = Read(
        building=building,
        frame=frame,
        days=reading.openings_in(building, week),
        closures=closures,
        stations=reading.stations_of(building),
        residents=residents,
        lines={key: lines for key, (_, lines) in plans.items()},
        sessions_a_week={key: plan.sessions_a_week for key, (plan, _) in plans.items()},
        calendars=calendars,
        fixed=fixed,
        neighbours=reading.neighbours_of(residents, start, until, moment),
        overdue=_overdue(building, residents, max(moment, start), calendars),
    )
    return _loaded(read, week, blocks, loose, has_buffer)


def _with_booked(residents: list[Resident], standing: Sequence[Session]) -> list[Resident]:
    """Whoever has a session counts at the stations, in the programme or not."""
    known = {resident.pk for resident in residents}
    booked = {session.resident_id: session.resident for session in standing if session.resident_id not in known}
    return sorted([*residents, *booked.values()], key=lambda resident: resident.pk)


def _frame(building: Building, week: Week, moment: datetime) -> Frame:
    return Frame(
        start=week.starts_at(building.zone),
        until=week.ends_at(building.zone),
        moment=moment,
        zone=building.zone,
        days=week.days,
        meals=reading.meals_in(building, week),
        rest_after_meal=timedelta(minutes=building.rest_after_meal_minutes),
    )


def _calendars(
    residents: Sequence[Resident], closures: Sequence[Closure], start: datetime, until: datetime, week: Week
) -> dict[int, Calendar]:
    times = reading.commitment_times_in(residents, start, until)
    holds = reading.holds_of(residents, until)
    clearances = reading.clearances_of(residents, week.monday)
    return {one.pk: Calendar(one, times[one.pk], holds[one.pk], clearances[one.pk], closures) for one in residents}


def _cannot_happen(session: Session, blocks: Sequence[Block], closures: Sequence[Closure], moment: datetime) -> bool:
    """A booking to come that lies in a blocked time or on a station out of order."""
    if session.state_at(moment) is not State.PUBLISHED or session.starts_at < moment:
        return False
    if any(block.start < session.ends_at and session.starts_at < block.end for block in blocks):
        return True
    return any(
        closure.station_id == slot.station_id
        and closure.starts_at < slot.ends_at
        and (closure.ends_at is None or slot.starts_at < closure.ends_at)
        for closure in closures
        for slot in session.slots.all()
    )


def _overdue(
    building: Building, residents: Sequence[Resident], moment: datetime, calendars: Mapping[int, Calendar]
) -> frozenset[int]:
    last = reading.last_done_at(residents)
    limit = timedelta(hours=building.overdue_hours)
    return frozenset(
        one.pk
        for one in residents
        if is_overdue(
            last.get(one.pk) or one.last_session_ended_at or one.enrolled_at or moment,
            moment,
            [(hold.starts_at, hold.ends_at) for hold in calendars[one.pk].holds],
            limit,
        )
    )


def _loaded(
    read: Read, week: Week, blocks: Mapping[int, tuple[Block, ...]], loose: tuple[Session, ...], has_buffer: bool
) -> Loaded:
    asked = {str(one.pk): _asked(read, one) for one in read.residents}
    pairs = reading.pairs_of(read.building)
    worth = rewards(
        asked=asked,
        started={str(key) for key, sessions in read.fixed.items() if sessions},
        overdue={str(key) for key in read.overdue},
        pairs=sum(1 for pair in pairs if pair.kind == Pairing.Kind.TOGETHER),
    )
    known = {str(one.pk): one for one in read.residents}
    return Loaded(
        building=read.building,
        week=week,
        problem=make_problem(read, asked, worth, blocks, pairs, has_buffer),
        residents=known,
        stations={station.name: station for station in read.stations},
        lines={str(key): lines for key, lines in read.lines.items()},
        blocks={str(key): found for key, found in blocks.items()},
        movable={str(key): movable_of(calendar, read.frame.zone) for key, calendar in read.calendars.items()},
        loose=loose,
        prescribed=sum(read.sessions_a_week.get(one.pk, 0) for one in read.residents),
        booked=sum(len(sessions) for sessions in read.fixed.values()),
    )


def _asked(read: Read, resident: Resident) -> int:
    wanted = read.sessions_a_week.get(resident.pk, 0)
    return max(wanted - len(read.fixed.get(resident.pk, ())), 0) if read.lines.get(resident.pk) else 0
