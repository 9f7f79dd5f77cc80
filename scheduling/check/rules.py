"""The rules of a roster, each a function named by what it demands; together they judge any answer."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import floor
from zoneinfo import ZoneInfo

from scheduling.check.help import moments_short_of_help
from scheduling.check.value import value
from scheduling.problem import Day, FixedSession, PlacedSession, Problem, Requirement, Resident, Roster, Value


@dataclass(frozen=True, slots=True)
class Broken:
    rule: str
    sentence: str
    residents: tuple[str, ...] = ()


Complaint = tuple[str, tuple[str, ...]]
Rule = Callable[[Problem, Roster], Iterator[Complaint]]
Known = tuple[Resident, PlacedSession]


def broken_rules(problem: Problem, roster: Roster) -> list[Broken]:
    """Every fault found, in the order of RULES; an empty list means the roster may be used."""
    return [
        Broken(rule.__name__, sentence, residents) for rule in RULES for sentence, residents in rule(problem, roster)
    ]


def every_name_is_known(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    residents = {resident.id for resident in problem.residents}
    stations = {station.id for station in problem.stations}
    for session in roster.sessions:
        if session.resident not in residents:
            yield f"{session.resident} is not a resident of this problem.", (session.resident,)
        for slot in session.slots:
            if slot.station not in stations:
                yield f"{slot.station} is not a station of this problem.", (session.resident,)


def nobody_has_more_sessions_than_asked(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    placed = Counter(session.resident for session in roster.sessions)
    for resident in problem.residents:
        if placed[resident.id] > resident.sessions:
            sentence = f"{resident.id} has {placed[resident.id]} new sessions and asked for {resident.sessions}."
            yield sentence, (resident.id,)


def a_session_runs_from_its_first_slot_to_its_last(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    for session in roster.sessions:
        slots = sorted(session.slots, key=lambda slot: (slot.start, slot.end))
        if not slots or any(slot.end <= slot.start for slot in slots):
            yield f"{session.resident} has a session or a slot without any time in it.", (session.resident,)
        elif (slots[0].start, max(slot.end for slot in slots)) != (session.start, session.end):
            yield f"{_said(problem, session)} does not run from its first slot to its last.", (session.resident,)
        elif any(later.start < earlier.end for earlier, later in pairwise(slots)):
            yield f"{_said(problem, session)} is at two stations at once.", (session.resident,)


def sessions_lie_on_whole_turns(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    for session in roster.sessions:
        days = _days_around(problem, session) or [
            day for day in problem.days if day.opens <= session.start < day.closes
        ]
        if days and not any(_is_on_grid(problem, day, session) for day in days):
            yield f"{_said(problem, session)} is not on whole turns from opening.", (session.resident,)


def a_session_lies_within_one_opening(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    for session in roster.sessions:
        if not _days_around(problem, session):
            yield f"{_said(problem, session)} lies outside the opening hours.", (session.resident,)


def a_session_lies_within_one_available_time(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    for resident, session in _sessions_of_known(problem, roster):
        if not any(span.start <= session.start and session.end <= span.end for span in resident.available):
            yield f"{_said(problem, session)} is at a time when they are not available.", (resident.id,)


def the_right_stations_once_each(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    for resident, session in _sessions_of_known(problem, roster):
        wanted = sorted((need.station, need.turns * problem.turn) for need in _needs(problem, resident, session))
        given = sorted((slot.station, slot.end - slot.start) for slot in session.slots)
        if given != wanted:
            yield f"{_said(problem, session)} does not visit the stations of the plan once each.", (resident.id,)
        elif not wanted:
            yield f"{_said(problem, session)} has no station left that is in order.", (resident.id,)


def no_wait_is_longer_than_allowed(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    longest = problem.max_wait_turns * problem.turn
    for session in roster.sessions:
        slots = sorted(session.slots, key=lambda slot: slot.start)
        if any(later.start - earlier.end > longest for earlier, later in pairwise(slots)):
            yield f"{_said(problem, session)} waits too long between two stations.", (session.resident,)


def no_station_holds_two(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    slots = [(slot, session.resident, True) for session in roster.sessions for slot in session.slots]
    slots += [
        (slot, resident.id, False) for resident in problem.residents for fixed in resident.fixed for slot in fixed.slots
    ]
    for station in problem.stations:
        here = sorted((entry for entry in slots if entry[0].station == station.id), key=lambda entry: entry[0].start)
        for place, (earlier, first, first_is_new) in enumerate(here):
            for later, second, second_is_new in here[place + 1 :]:
                if later.start >= earlier.end:
                    break
                if first_is_new or second_is_new:
                    yield f"{station.id} holds {first} and {second} at the same time.", (first, second)


def no_station_is_used_while_closed(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    closed = {station.id: station.closed for station in problem.stations}
    for session in roster.sessions:
        for slot in session.slots:
            if any(max(slot.start, span.start) < min(slot.end, span.end) for span in closed.get(slot.station, ())):
                yield f"{_said(problem, session)} uses {slot.station} while it is closed.", (session.resident,)


def nobody_trains_before_recovery(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    for resident, session in _sessions_of_known(problem, roster):
        if resident.recovered_at is not None and session.start < resident.recovered_at:
            yield f"{_said(problem, session)} is before they have recovered.", (resident.id,)
    for resident in problem.residents:
        new = [session for session in roster.sessions if session.resident == resident.id]
        rivals: list[tuple[PlacedSession, PlacedSession | FixedSession]] = list(combinations(new, 2))
        rivals += [(session, fixed) for session in new for fixed in resident.fixed]
        for session, other in rivals:
            earlier, later = sorted((session, other), key=lambda one: (one.start, one.end))
            if later.start - earlier.end < resident.recovery:
                yield f"{_said(problem, session)} is too close to another session.", (resident.id,)


def the_next_session_still_has_its_recovery(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    for resident, session in _sessions_of_known(problem, roster):
        if resident.next_session_at is not None and session.end + resident.recovery > resident.next_session_at:
            yield f"{_said(problem, session)} is too close to their next session.", (resident.id,)


def help_is_never_exceeded(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    zone = ZoneInfo(problem.timezone)
    for moment, needed, capacity, residents in moments_short_of_help(problem, roster):
        said = f"{moment.astimezone(zone):%a %d %b %H:%M}"
        yield f"At {said} {needed} sixths of help are needed and {capacity} are there.", residents


def apart_are_never_there_together(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    new: dict[str, list[PlacedSession]] = {}
    for session in roster.sessions:
        new.setdefault(session.resident, []).append(session)
    fixed = {resident.id: resident.fixed for resident in problem.residents}
    for one, other in problem.apart:
        rivals: list[tuple[PlacedSession | FixedSession, PlacedSession | FixedSession]] = []
        rivals += [(mine, theirs) for mine in new.get(one, []) for theirs in new.get(other, [])]
        rivals += [(mine, theirs) for mine in new.get(one, []) for theirs in fixed[other]]
        rivals += [(mine, theirs) for mine in fixed[one] for theirs in new.get(other, [])]
        if any(mine.start < theirs.end and theirs.start < mine.end for mine, theirs in rivals):
            yield f"{one} and {other} are kept apart and are there at the same time.", (one, other)


def the_value_is_as_claimed(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    true_value = value(problem, roster)
    if not _same(roster.objective, true_value):
        yield f"The roster claims the value {roster.objective}; it is {true_value}.", ()


def the_bound_is_not_below_the_value(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    if roster.bound < roster.objective and not _same(roster.bound, roster.objective):
        yield f"The bound {roster.bound} is below the value {roster.objective}.", ()


def optimal_is_said_where_the_bound_is_reached(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    whole = all(isinstance(number, int) for number in _values(problem))
    bound = floor(roster.bound) if whole else roster.bound
    if (roster.status == "optimal") != _same(bound, roster.objective):
        yield f"The status is {roster.status}, the value {roster.objective}, the bound {roster.bound}.", ()


def unplaced_lists_exactly_the_missing(problem: Problem, roster: Roster) -> Iterator[Complaint]:
    placed = Counter(session.resident for session in roster.sessions)
    missing = {
        resident.id: resident.sessions - placed[resident.id]
        for resident in problem.residents
        if placed[resident.id] < resident.sessions
    }
    listed = [(entry.resident, entry.missing) for entry in roster.unplaced]
    if sorted(listed) != sorted(missing.items()):
        yield "The list of residents not placed is not the list of those with fewer sessions than asked.", ()
    for entry in roster.unplaced:
        if not entry.reasons:
            yield f"No reason is given for {entry.resident}.", (entry.resident,)


RULES: list[Rule] = [
    every_name_is_known,
    nobody_has_more_sessions_than_asked,
    a_session_runs_from_its_first_slot_to_its_last,
    sessions_lie_on_whole_turns,
    a_session_lies_within_one_opening,
    a_session_lies_within_one_available_time,
    the_right_stations_once_each,
    no_wait_is_longer_than_allowed,
    no_station_holds_two,
    no_station_is_used_while_closed,
    nobody_trains_before_recovery,
    the_next_session_still_has_its_recovery,
    help_is_never_exceeded,
    apart_are_never_there_together,
    the_value_is_as_claimed,
    the_bound_is_not_below_the_value,
    optimal_is_said_where_the_bound_is_reached,
    unplaced_lists_exactly_the_missing,
]


def _sessions_of_known(problem: Problem, roster: Roster) -> Iterator[Known]:
    residents = {resident.id: resident for resident in problem.residents}
    for session in roster.sessions:
        if session.resident in residents:
            yield residents[session.resident], session


def _days_around(problem: Problem, session: PlacedSession) -> list[Day]:
    return [day for day in problem.days if day.opens <= session.start and session.end <= day.closes]


def _is_on_grid(problem: Problem, day: Day, session: PlacedSession) -> bool:
    return not any((slot.start - day.opens) % problem.turn for slot in session.slots)


def _needs(problem: Problem, resident: Resident, session: PlacedSession) -> list[Requirement]:
    if not resident.skips_closed_stations:
        return list(resident.stations)
    whole_end = session.start + sum(need.turns for need in resident.stations) * problem.turn
    left_out = {
        station.id
        for station in problem.stations
        for span in station.closed
        if span.start < whole_end and session.start < span.end and span.start < span.end
    }
    return [need for need in resident.stations if need.station not in left_out]


def _values(problem: Problem) -> Iterator[Value]:
    for resident in problem.residents:
        yield from resident.rewards
        yield resident.cost.default
        yield from (window.cost for window in resident.cost.windows)
        if resident.short_gap:
            yield resident.short_gap.cost
    yield from (pair.reward for pair in problem.together)


def _same(one: Value, other: Value) -> bool:
    # A value that is not whole passes through a JSON number on its way to a file.
    return one == other or float(one) == float(other)


def _said(problem: Problem, session: PlacedSession) -> str:
    start = session.start.astimezone(ZoneInfo(problem.timezone))
    return f"{session.resident} on {start:%a %d %b} at {start:%H:%M}"
