"""When one resident may train beside everything already booked, and the one rule that decides where they may not."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from scheduling.problem import Day, FixedSession, Problem, Resident, Slot
from scheduling.solver.board import Board
from scheduling.solver.layout import MICROSECOND, Layout, lay_out, to_instant, to_microseconds
from scheduling.solver.starts import Starts, help_is_there, starts_of
from scheduling.solver.stationing import TooManyOrders, Visit

PARTS_OF_A_PERSON = ("", "one sixth", "one third", "one half", "two thirds", "five sixths")


@dataclass(frozen=True, slots=True)
class Allowed:
    start: datetime
    end: datetime
    slots: tuple[Slot, ...]


@dataclass(frozen=True, slots=True)
class Refusal:
    """The one rule that decides, and a sentence with the building's local times."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Block:
    """A time in which the resident may not train, named by the caller: `text` reads on after "inside …".

    Codes are the caller's (meal, rest, commitment, margin, closure, hold, away …); "margin" counts minutes into it.
    """

    start: datetime
    end: datetime
    code: str
    text: str


def allowed_starts(problem: Problem, resident_id: str, blocks: Sequence[Block] = ()) -> list[Allowed]:
    """Every start that keeps every rule beside all fixed sessions, in order of time, with stations assigned.

    How many sessions the resident asks for plays no part. Raises KeyError for an unknown resident.
    """
    room = _Room(problem, _resident(problem, resident_id))
    found: dict[datetime, Allowed] = {}
    for place in np.flatnonzero(room.starts.legal & help_is_there(room.board, room.starts)):
        allowed = room.allowed(int(place))
        if allowed is not None and not any(_meets(allowed.start, allowed.end, block) for block in blocks):
            found.setdefault(allowed.start, allowed)
    return list(found.values())


def judge_start(problem: Problem, resident_id: str, start: datetime, blocks: Sequence[Block] = ()) -> Allowed | Refusal:
    """The session at this start, or the first rule that refuses it.

    In this order: whole turns and opening hours, blocks by their start, available times, recovery, the next
    session, stations, help, residents kept apart. Raises KeyError for an unknown resident.
    """
    resident = _resident(problem, resident_id)
    if refusal := _outside_opening(problem, start):
        return refusal
    room = _Room(problem, resident)
    places = np.flatnonzero(room.starts.at == to_microseconds(start))
    allowed = next(filter(None, (room.allowed(int(place)) for place in places)), None)
    if allowed is not None and not any(_meets(allowed.start, allowed.end, block) for block in blocks):
        return allowed
    return next(_refusals(room, int(places[0]), blocks))


class _Room:
    """What is left beside the fixed sessions, and one resident's starts in it."""

    def __init__(self, problem: Problem, resident: Resident) -> None:
        self.problem = problem
        self.resident = resident
        self.zone = ZoneInfo(problem.timezone)
        self.layout: Layout = lay_out(problem)
        self.board = Board(self.layout)
        self.starts: Starts = starts_of(self.layout, self.board, resident)

    def allowed(self, place: int) -> Allowed | None:
        starts = self.starts
        if not starts.legal[place]:
            return None
        visits = self.visits(place)
        if visits is None:
            return None
        at = int(starts.at[place])
        slots = tuple(
            Slot(
                self.problem.stations[station].id,
                to_instant(at + tick * self.layout.turn),
                to_instant(at + (tick + turns) * self.layout.turn),
            )
            for station, tick, turns in visits
        )
        return Allowed(to_instant(at), slots[-1].end, slots)

    def visits(self, place: int) -> tuple[Visit, ...] | None:
        starts = self.starts
        _, _, opening, tick = starts.spot(place)
        latest = int(starts.latest_ends[place])
        try:
            return self.board.fits(starts.needs, starts.stations_at(place), opening, tick, latest)
        except TooManyOrders:
            return None

    def clock(self, instant: datetime) -> str:
        return f"{instant.astimezone(self.zone):%H:%M}"

    def day_and_clock(self, instant: datetime) -> str:
        local = instant.astimezone(self.zone)
        return f"{local:%a} {local.day} {local:%b %H:%M}"


def _resident(problem: Problem, resident_id: str) -> Resident:
    for resident in problem.residents:
        if resident.id == resident_id:
            return resident
    raise KeyError(resident_id)


def _outside_opening(problem: Problem, start: datetime) -> Refusal | None:
    zone = ZoneInfo(problem.timezone)
    around = [day for day in problem.days if day.opens <= start < day.closes]
    if not around:
        return Refusal("outside_opening", _not_open(problem, start, zone))
    if any(_on_grid(problem, day, start) for day in around):
        return None
    # A last piece of a day shorter than a turn holds no start.
    if all((start - day.opens) % problem.turn == timedelta(0) for day in around):
        closes = max(day.closes for day in around).astimezone(zone)
        return Refusal("after_closing", f"Would end after closing at {closes:%H:%M}.")
    return Refusal("not_a_whole_turn", _between_turns(problem, around[0], start, zone))


def _not_open(problem: Problem, start: datetime, zone: ZoneInfo) -> str:
    local = start.astimezone(zone)
    if any(day.opens.astimezone(zone).date() == local.date() for day in problem.days):
        return f"{local:%H:%M} is outside the opening hours."
    return f"The circuit is not open on {local:%A}s."


def _between_turns(problem: Problem, day: Day, start: datetime, zone: ZoneInfo) -> str:
    """With the starts before and after it, as far as the day has them."""
    before = start - (start - day.opens) % problem.turn
    near = [moment for moment in (before, before + problem.turn) if _on_grid(problem, day, moment)]
    said = " or ".join(f"{moment.astimezone(zone):%H:%M}" for moment in near)
    every = f"Sessions begin every {_minutes(problem.turn)} from {day.opens.astimezone(zone):%H:%M}"
    return f"{every}: {said}." if said else f"{every}."


def _on_grid(problem: Problem, day: Day, start: datetime) -> bool:
    is_on_a_turn = (start - day.opens) % problem.turn == timedelta(0)
    return is_on_a_turn and day.opens <= start and start + problem.turn <= day.closes


def _meets(start: datetime, end: datetime, block: Block) -> bool:
    return start < block.end and block.start < end and block.start < block.end


def _refusals(room: _Room, place: int, blocks: Sequence[Block]) -> Iterator[Refusal]:
    start, end = to_instant(int(room.starts.at[place])), to_instant(int(room.starts.ends[place]))
    closes = max(day.closes for day in room.problem.days if _on_grid(room.problem, day, start))
    if end > closes:
        sentence = f"Would end {room.clock(end)}, after closing at {room.clock(closes)}."
        yield Refusal("after_closing", sentence)
    # With every station left out a session has no length; at least the instant itself may be blocked.
    reach = max(end, start + MICROSECOND)
    for block in sorted(blocks, key=lambda block: block.start):
        if _meets(start, reach, block):
            yield Refusal(block.code, _blocked(room, start, end, block))
    if not room.starts.keeps_calendar[place] and end > start:
        spoken = f"from {room.clock(start)} to {room.clock(end)}"
        yield Refusal("not_available", f"The resident is not available {spoken}.")
    yield from _rest_refusals(room, start, end)
    yield from _station_refusals(room, place)
    yield from _help_refusals(room, place, start, end)
    if not room.starts.keeps_apart[place]:
        yield Refusal("apart", "Somebody whom the resident is kept apart from is there then.")
    yield Refusal("no_order", "No order of the stations fits into the time that is left.")


def _blocked(room: _Room, start: datetime, end: datetime, block: Block) -> str:
    if block.start <= start:
        return f"{room.clock(start)} is inside {block.text}."
    if end > block.end:
        return f"Would run from {room.clock(start)} to {room.clock(end)}, over {block.text}."
    if block.code == "margin":
        return f"Would end {room.clock(end)}, {_minutes(end - block.start)} into {block.text}."
    return f"Would end {room.clock(end)}, inside {block.text}."


def _rest_refusals(room: _Room, start: datetime, end: datetime) -> Iterator[Refusal]:
    resident, recovery = room.resident, room.resident.recovery
    before: list[FixedSession] = [fixed for fixed in resident.fixed if fixed.start <= start < fixed.end + recovery]
    if before:
        last = max(before, key=lambda fixed: fixed.end)
        free = room.day_and_clock(last.end + recovery)
        if start < last.end:
            yield Refusal("too_soon", f"There is a session at that time already; the next is possible from {free}.")
        hours = _hours(start - last.end)
        yield Refusal("too_soon", f"That is {hours} after the session before; the next is possible from {free}.")
    if resident.recovered_at is not None and start < resident.recovered_at:
        yield Refusal("too_soon", f"The resident has recovered from {room.day_and_clock(resident.recovered_at)}.")
    following = [fixed.start for fixed in resident.fixed if start < fixed.start < end + recovery]
    if resident.next_session_at is not None and resident.next_session_at < end + recovery:
        following.append(resident.next_session_at)
    if following:
        at = min(following)
        sentence = (
            f"That leaves {_hours(max(at - end, timedelta(0)))} to the session on {room.day_and_clock(at)}; "
            f"it must end by {room.day_and_clock(at - recovery)}."
        )
        yield Refusal("next_session", sentence)


def _station_refusals(room: _Room, place: int) -> Iterator[Refusal]:
    starts = room.starts
    if starts.has_stations[place]:
        return
    first, last = int(starts.first[place]), int(starts.last[place])
    needed = [station for station, _ in starts.needs.stations]
    ids = [station.id for station in room.problem.stations]
    if not starts.is_open[place]:
        named = [ids[station] for station in needed if room.layout.closed[station, first:last].any()]
        yield Refusal("station_closed", f"{_stations_said(named or [ids[one] for one in needed])} out of order then.")
    named = [ids[station] for station in needed if room.layout.taken[station, first:last].any()]
    yield Refusal("station_taken", f"{_stations_said(named)} taken by others then, whatever the order.")


def _help_refusals(room: _Room, place: int, start: datetime, end: datetime) -> Iterator[Refusal]:
    starts, free, points = room.starts, room.board.free_help, room.layout.points
    needs = starts.needs
    stretches = [
        (int(starts.way_first[place]), int(starts.first[place]), needs.way_sixths, "to fetch the resident"),
        (int(starts.first[place]), int(starts.last[place]), needs.sixths, "at the stations"),
        (int(starts.last[place]), int(starts.way_last[place]), needs.way_sixths, "to bring the resident back"),
    ]
    short = [
        (needed - int(free[piece]), piece, purpose)
        for first, last, needed, purpose in stretches
        for piece in range(first, last)
        if free[piece] < needed
    ]
    if short:
        most = max(sixths for sixths, _, _ in short)
        sixths, piece, purpose = next(entry for entry in short if entry[0] == most)
        at = room.clock(to_instant(int(points[piece])))
        yield Refusal("help_short", f"Help is short at {at} {purpose} by {_people_said(sixths)}.")


def _people_said(sixths: int) -> str:
    """Sixths of one person, in words: “one sixth of a person”, “one person and a half”."""
    whole, part = divmod(sixths, len(PARTS_OF_A_PERSON))
    if not whole:
        return f"{PARTS_OF_A_PERSON[part]} of a person" if part else "nobody"
    people = "one person" if whole == 1 else f"{whole} people"
    return f"{people} and {PARTS_OF_A_PERSON[part]}" if part else people


def _stations_said(ids: list[str]) -> str:
    if len(ids) == 1:
        return f"Station {ids[0]} is"
    return f"Stations {', '.join(ids[:-1])} and {ids[-1]} are"


def _hours(length: timedelta) -> str:
    minutes = length // timedelta(minutes=1)
    return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"


def _minutes(length: timedelta) -> str:
    minutes = -(-length // timedelta(minutes=1))
    return "1 minute" if minutes == 1 else f"{minutes} minutes"
