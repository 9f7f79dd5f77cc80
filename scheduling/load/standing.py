"""What stands in a week: published sessions, and those of them that can no longer happen as they are."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from program import clock
from program.models import Building, Closure, Resident, Session
from program.rules.opening import Stretch
from program.rules.states import HOLDS_NOTHING, State
from program.rules.week import Week
from scheduling.load import reading
from scheduling.load.blocks import Calendar, Frame, blocks_of, movable_of
from scheduling.problem import PlacedSession
from scheduling.times import Block


@dataclass(frozen=True, slots=True)
class Standing:
    """Residents with their calendars and blocked times; `firm` sessions stay, `loose` ones are planned again."""

    frame: Frame
    openings: Sequence[Stretch]
    closures: Sequence[Closure]
    residents: Sequence[Resident]
    calendars: Mapping[int, Calendar]
    blocks: Mapping[int, tuple[Block, ...]]
    firm: tuple[Session, ...]
    loose: tuple[Session, ...]


def would_move(stands: Standing, placed: PlacedSession) -> tuple[str, ...]:
    """The commitments that can move and that this session lies over, in words."""
    calendar = stands.calendars.get(int(placed.resident))
    movable = movable_of(calendar, stands.frame.zone) if calendar else ()
    return tuple(block.text for block in movable if block.start < placed.end and placed.start < block.end)


def standing_in(*, building: Building, week: Week, without: Session | None = None) -> Standing:
    """The week as things stand now; `without` is looked at as if it were not there."""
    start, until, moment = week.starts_at(building.zone), week.ends_at(building.zone), clock.now()
    sessions = [session for session in reading.sessions_in(building, start, until) if session != without]
    standing = [session for session in sessions if session.state_at(moment) not in HOLDS_NOTHING]
    residents = _with_booked(reading.residents_in(building, start, until), standing)
    closures = reading.closures_in(building, start, until)
    openings, meals = reading.openings_and_meals(building, week)
    frame = _frame(building, week, moment, meals)
    calendars = _calendars(residents, closures, start, until, week)
    blocks = {resident.pk: blocks_of(frame, calendars[resident.pk]) for resident in residents}
    in_week = [one for one in standing if start <= one.starts_at and not _has_begun(one, moment)]
    loose = [
        one
        for one in in_week
        if _has_no_time(one, openings, blocks[one.resident_id]) or _is_at_a_closed_station(one, closures)
    ]
    return Standing(
        frame=frame,
        openings=openings,
        closures=closures,
        residents=residents,
        calendars=calendars,
        blocks=blocks,
        firm=tuple(session for session in standing if session not in loose),
        loose=tuple(loose),
    )


def _with_booked(residents: list[Resident], standing: Sequence[Session]) -> list[Resident]:
    """Whoever has a session counts at the stations, in the programme or not."""
    known = {resident.pk for resident in residents}
    booked = {session.resident_id: session.resident for session in standing if session.resident_id not in known}
    return sorted([*residents, *booked.values()], key=lambda resident: resident.pk)


def _frame(building: Building, week: Week, moment: datetime, meals: Sequence[Stretch]) -> Frame:
    return Frame(
        start=week.starts_at(building.zone),
        until=week.ends_at(building.zone),
        moment=moment,
        zone=building.zone,
        days=week.days,
        meals=meals,
        rest_after_meal=timedelta(minutes=building.rest_after_meal_minutes),
    )


def _calendars(
    residents: Sequence[Resident], closures: Sequence[Closure], start: datetime, until: datetime, week: Week
) -> dict[int, Calendar]:
    times = reading.commitment_times_in(residents, start, until)
    holds = reading.holds_of(residents, until)
    clearances = reading.clearances_of(residents, week.monday)
    return {one.pk: Calendar(one, times[one.pk], holds[one.pk], clearances[one.pk], closures) for one in residents}


def _has_begun(session: Session, moment: datetime) -> bool:
    """Whether it is no longer a booking to come: on its way, late, or written about."""
    is_to_come = session.state_at(moment) is State.PUBLISHED and session.starts_at >= moment
    return not is_to_come or session.attempted_at is not None


def _has_no_time(session: Session, openings: Sequence[Stretch], blocks: Sequence[Block]) -> bool:
    """It lies outside the opening hours or in a blocked time, or what really happened leaves it nothing of its day."""
    if not any(day.start <= session.starts_at and session.ends_at <= day.end for day in openings):
        return True
    if session.held_from is None or session.held_from >= session.day_closes_at:
        return True
    return any(block.start < session.ends_at and session.starts_at < block.end for block in blocks)


def _is_at_a_closed_station(session: Session, closures: Sequence[Closure]) -> bool:
    return any(
        closure.station_id == slot.station_id
        and closure.starts_at < slot.ends_at
        and (closure.ends_at is None or slot.starts_at < closure.ends_at)
        for closure in closures
        for slot in session.slots.all()
    )
