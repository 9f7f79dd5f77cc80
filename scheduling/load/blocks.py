"""Where a resident's session may not lie, each time with the words that a refusal uses."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from program.models import Clearance, Closure, CommitmentTime, Hold, Resident
from program.rules.opening import Stretch
from program.rules.week import clock_time, date_and_time, local_instant
from scheduling.problem import Span
from scheduling.times import Block


@dataclass(frozen=True, slots=True)
class Frame:
    """The stretch of time that is looked at, and the building's clock."""

    start: datetime
    until: datetime
    moment: datetime
    zone: ZoneInfo
    days: Sequence[date]
    meals: Sequence[Stretch] = ()
    rest_after_meal: timedelta = timedelta(0)


@dataclass(frozen=True, slots=True)
class Calendar:
    """What stands in the way of one resident."""

    resident: Resident
    times: Sequence[CommitmentTime] = ()
    holds: Sequence[Hold] = ()
    clearances: Sequence[Clearance] = ()
    closures: Sequence[Closure] = field(default=())


def blocks_of(frame: Frame, calendar: Calendar) -> tuple[Block, ...]:
    """Every time in the frame in which the resident may not train, in order."""
    found = [
        *_past(frame),
        *_meals(frame, calendar.resident),
        *_closures(frame, calendar),
        *_commitments(frame, calendar.times),
        *_holds(frame, calendar.holds),
        *_stay(frame, calendar.resident),
        *_uncleared(frame, calendar.clearances),
    ]
    return tuple(sorted((block for block in found if block.start < block.end), key=lambda block: block.start))


def movable_of(calendar: Calendar, zone: ZoneInfo) -> tuple[Block, ...]:
    """Commitments that can move: allowed, but a session over one says which it would move."""
    return tuple(
        Block(time.blocks_from, time.blocks_until, "movable", _named(time, zone))
        for time in calendar.times
        if time.commitment.is_movable
    )


def free_of(days: Iterable[Stretch], blocks: Sequence[Block]) -> tuple[Span, ...]:
    """What the blocks leave of the openings."""
    free = []
    for day in days:
        start = day.start
        for block in blocks:
            if block.end <= start or block.start >= day.end:
                continue
            if block.start > start:
                free.append(Span(start, block.start))
            start = max(start, block.end)
        if start < day.end:
            free.append(Span(start, day.end))
    return tuple(free)


def _past(frame: Frame) -> Iterator[Block]:
    if frame.moment > frame.start:
        yield Block(frame.start, min(frame.moment, frame.until), "past", "a time that has passed")


def _meals(frame: Frame, resident: Resident) -> Iterator[Block]:
    for meal in frame.meals:
        if meal.unit in {None, resident.unit_id}:
            named = meal.name or "a meal"
            rest_ends = meal.end + frame.rest_after_meal
            told = f"{clock_time(meal.start, frame.zone)}–{clock_time(meal.end, frame.zone)}"
            yield Block(meal.start, meal.end, "meal", f"{named} {told}")
            yield Block(
                meal.end, rest_ends, "rest", f"the rest after {named} until {clock_time(rest_ends, frame.zone)}"
            )


def _closures(frame: Frame, calendar: Calendar) -> Iterator[Block]:
    for closure in calendar.closures:
        if closure.station_id is None and closure.unit_id in {None, calendar.resident.unit_id}:
            what = "the unit" if closure.unit_id else "the building"
            yield Block(
                closure.starts_at,
                closure.ends_at or frame.until,
                "closure",
                f"a closure of {what} ({closure.get_reason_display()}){_until(closure.ends_at, frame.zone)}",
            )


def _commitments(frame: Frame, times: Sequence[CommitmentTime]) -> Iterator[Block]:
    for time in times:
        if not time.commitment.is_movable:
            named = _named(time, frame.zone)
            yield Block(time.blocks_from, time.starts_at, "margin", f"the margin before {named}")
            yield Block(time.starts_at, time.ends_at, "commitment", named)
            yield Block(time.ends_at, time.blocks_until, "margin", f"the margin after {named}")


def _named(time: CommitmentTime, zone: ZoneInfo) -> str:
    return f"{time.commitment.kind} {clock_time(time.starts_at, zone)}–{clock_time(time.ends_at, zone)}"


def _holds(frame: Frame, holds: Sequence[Hold]) -> Iterator[Block]:
    for hold in holds:
        is_away = hold.kind == Hold.Kind.AWAY
        yield Block(
            hold.starts_at,
            hold.ends_at or frame.until,
            "away" if is_away else "hold",
            f"{'an absence' if is_away else 'an exercise hold'} ({hold.reason}){_until(hold.ends_at, frame.zone)}",
        )


def _stay(frame: Frame, resident: Resident) -> Iterator[Block]:
    begins = resident.enrolled_at or frame.until
    yield Block(frame.start, min(begins, frame.until), "agreement", "a time before the resident is in the programme")
    if resident.agreement_withdrawn_at:
        yield Block(resident.agreement_withdrawn_at, frame.until, "agreement", "a time without an agreement")
    if resident.until:
        yield Block(resident.until, frame.until, "left", "a time after the resident has left")


def _uncleared(frame: Frame, clearances: Sequence[Clearance]) -> Iterator[Block]:
    valid = [clearance for clearance in clearances if clearance.withdrawn_at is None]
    for day in frame.days:
        if not any(clearance.given_on <= day <= clearance.until_on for clearance in valid):
            yield Block(
                local_instant(day, 0, frame.zone),
                local_instant(day + timedelta(days=1), 0, frame.zone),
                "clearance",
                f"a day without a valid clearance ({day.day} {day:%b})",
            )


def _until(moment: datetime | None, zone: ZoneInfo) -> str:
    return f" until {date_and_time(moment, zone)}" if moment else ""
