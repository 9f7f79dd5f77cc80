"""Fixed sessions that contradict the rules or one another: named, never repaired."""

from collections.abc import Iterator
from datetime import datetime
from itertools import combinations
from zoneinfo import ZoneInfo

from scheduling.problem import Conflict, FixedSession, Problem, Resident
from scheduling.solver.layout import fixed_stretches, to_instant, to_microseconds

Fixed = tuple[Resident, FixedSession]


def conflicts_among_fixed(problem: Problem) -> tuple[Conflict, ...]:
    """Every contradiction among the fixed sessions, in the order: own recovery, stations, help, kept apart."""
    fixed = [(resident, session) for resident in problem.residents for session in resident.fixed]
    zone = ZoneInfo(problem.timezone)
    return (
        *_too_close(fixed, zone),
        *_stations_held_twice(fixed, zone),
        *_stations_closed(problem, fixed, zone),
        *_help_short(problem, fixed, zone),
        *_apart_met(problem, zone),
    )


def _said(instant: datetime, zone: ZoneInfo) -> str:
    return f"{instant.astimezone(zone):%a %d %b %H:%M}"


def _too_close(fixed: list[Fixed], zone: ZoneInfo) -> Iterator[Conflict]:
    for resident in dict.fromkeys(resident for resident, _ in fixed):
        own = sorted(resident.fixed, key=lambda session: (session.start, session.end))
        for earlier, later in combinations(own, 2):
            if later.start < earlier.end + resident.recovery:
                text = (
                    f"{resident.id}: the session on {_said(later.start, zone)} begins before they have recovered "
                    f"from the one on {_said(earlier.start, zone)}."
                )
                yield Conflict("too_close", text, (resident.id,))
        for session in own:
            if resident.recovered_at is not None and session.start < resident.recovered_at:
                text = f"{resident.id}: the session on {_said(session.start, zone)} begins before they have recovered."
                yield Conflict("too_close", text, (resident.id,))
            if resident.next_session_at is not None and session.end + resident.recovery > resident.next_session_at:
                text = f"{resident.id}: the session on {_said(session.start, zone)} is too close to their next one."
                yield Conflict("too_close", text, (resident.id,))


def _stations_held_twice(fixed: list[Fixed], zone: ZoneInfo) -> Iterator[Conflict]:
    slots = sorted(
        ((slot.station, slot.start, slot.end, resident.id) for resident, session in fixed for slot in session.slots),
    )
    for place, (station, _, end, first) in enumerate(slots):
        for other_station, start, _, second in slots[place + 1 :]:
            if other_station != station or start >= end:
                break
            text = f"Station {station} is promised to {first} and {second} on {_said(start, zone)}."
            yield Conflict("station_held_twice", text, tuple(dict.fromkeys((first, second))))


def _stations_closed(problem: Problem, fixed: list[Fixed], zone: ZoneInfo) -> Iterator[Conflict]:
    closed = {station.id: station.closed for station in problem.stations}
    for resident, session in fixed:
        for slot in session.slots:
            if any(max(slot.start, span.start) < min(slot.end, span.end) for span in closed[slot.station]):
                text = f"{resident.id}: station {slot.station} is closed on {_said(slot.start, zone)}."
                yield Conflict("station_closed", text, (resident.id,))


def _help_short(problem: Problem, fixed: list[Fixed], zone: ZoneInfo) -> Iterator[Conflict]:
    stretches = [
        (start, end, sixths, resident.id)
        for resident, session in fixed
        for start, end, sixths in fixed_stretches(problem, resident, session)
        if start < end and sixths
    ]
    shifts = [
        (to_microseconds(entry.start), to_microseconds(entry.end), entry.capacity) for entry in problem.supervision
    ]
    spans = [(start, end) for start, end, _, _ in stretches] + [(start, end) for start, end, _ in shifts]
    moments = sorted({at for span in spans for at in span})
    named: set[tuple[str, ...]] = set()
    for moment in moments:
        there = [(sixths, name) for start, end, sixths, name in stretches if start <= moment < end]
        capacity = sum(sixths for start, end, sixths in shifts if start <= moment < end)
        needed = sum(sixths for sixths, _ in there)
        names = tuple(sorted({name for _, name in there}))
        # Said once for the same people, at the first moment.
        if needed > capacity and names not in named:
            named.add(names)
            said = _said(to_instant(moment), zone)
            text = f"On {said} {needed} sixths of help are needed and {capacity} are there."
            yield Conflict("help_short", text, names)


def _apart_met(problem: Problem, zone: ZoneInfo) -> Iterator[Conflict]:
    fixed = {resident.id: resident.fixed for resident in problem.residents}
    for one, other in problem.apart:
        for mine in fixed[one]:
            for theirs in fixed[other]:
                if mine.start < theirs.end and theirs.start < mine.end:
                    said = _said(max(mine.start, theirs.start), zone)
                    yield Conflict("apart", f"{one} and {other} are kept apart and meet on {said}.", (one, other))
