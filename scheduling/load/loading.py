"""One week of one building as a roster problem, with what is needed to say its answer in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from program.models import Building, Pairing, PrescriptionLine, Resident, Session, Station
from program.rules.overdue import is_overdue
from program.rules.week import Week
from scheduling.load import reading
from scheduling.load.blocks import Calendar
from scheduling.load.making import Read, make_problem
from scheduling.load.standing import standing_in
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
    loose: tuple[Session, ...]
    prescribed: int
    booked: int


def load_week(
    *,
    building: Building,
    week: Week,
    has_buffer: bool = True,
    is_replanned: bool = True,
    without: Session | None = None,
) -> Loaded:
    """The problem of `week`, as things stand now.

    `has_buffer`: the planning buffer on top of recovery, for whatever the service proposes; a person may choose a time
    inside it. `is_replanned`: published sessions that cannot stay are planned again; else they hold what they hold.
    `without`: a session that is to be moved, so that it does not stand in its own way.
    """
    stands = standing_in(building=building, week=week, without=without)
    residents, loose = stands.residents, stands.loose if is_replanned else ()
    fixed: dict[int, list[Session]] = {resident.pk: [] for resident in residents}
    for session in stands.firm if is_replanned else stands.firm + stands.loose:
        fixed[session.resident_id].append(session)
    plans = reading.plans_of(residents)
    read = Read(
        building=building,
        frame=stands.frame,
        days=stands.openings,
        closures=stands.closures,
        stations=reading.stations_of(building),
        residents=residents,
        lines={key: lines for key, (_, lines) in plans.items()},
        sessions_a_week={key: plan.sessions_a_week for key, (plan, _) in plans.items()},
        calendars=stands.calendars,
        fixed=fixed,
        neighbours=reading.neighbours_of(residents, stands.frame, without),
        overdue=_overdue(building, residents, max(stands.frame.moment, stands.frame.start), stands.calendars),
    )
    return _loaded(read, week, stands.blocks, loose, has_buffer)


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
        loose=loose,
        prescribed=sum(read.sessions_a_week.get(one.pk, 0) for one in read.residents),
        booked=sum(len(sessions) for sessions in read.fixed.values()),
    )


def _asked(read: Read, resident: Resident) -> int:
    wanted = read.sessions_a_week.get(resident.pk, 0)
    return max(wanted - len(read.fixed.get(resident.pk, ())), 0) if read.lines.get(resident.pk) else 0
