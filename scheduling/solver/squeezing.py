"""One more session where time and help are free but no station is: everybody then there gets other stations."""

from random import Random

import numpy as np

from scheduling.solver.board import Placement
from scheduling.solver.filling import Filling, Week
from scheduling.solver.starts import Flags, help_is_there

MOST_TRIES = 8

# Resident's place, start's place among their starts, latest end; for a session that is there already, its own end.
Seat = tuple[int, int, int]


def squeeze_in(filling: Filling, place: int, random: Random) -> dict[int, Week] | None:
    """Adds a session of this resident at one of the starts that lack only stations.

    Answers the weeks that were changed, as they were before, or None where it did not succeed.
    """
    starts = filling.weeks[place].starts
    wanted = np.flatnonzero(_lacks_only_stations(filling, place))
    if not len(wanted):
        return None
    start = int(wanted[random.randrange(len(wanted))])
    begins, ends = int(starts.at[start]), int(starts.ends[start])
    seats: list[Seat] = [(place, start, _latest_end(filling, place, start))]
    before = {place: filling.placed[place]}
    for other, week in enumerate(filling.placed):
        there = [session for session in week if session.at < ends and begins < session.end]
        seats += [(other, session.start, session.end) for session in there]
        if there:
            before[other] = week
    weeks = _seated(filling, before, seats, random)
    for changed in before:
        filling.clear(changed)
    for changed, week in (weeks or before).items():
        filling.hold(changed, week)
    return before if weeks else None


def _lacks_only_stations(filling: Filling, place: int) -> Flags:
    weeks, starts = filling.weeks[place], filling.weeks[place].starts
    lacks: Flags = starts.legal & help_is_there(filling.board, starts)
    lacks[weeks.places] &= filling.keeps_apart(place)
    for session in filling.placed[place]:
        lacks &= (starts.at >= session.end + weeks.recovery) | (starts.ends + weeks.recovery <= session.at)
    return lacks


def _latest_end(filling: Filling, place: int, start: int) -> int:
    at = int(filling.weeks[place].starts.at[start])
    own_later = [session.start for session in filling.placed[place] if session.at > at]
    return filling.latest_end(place, start, own_later[:1])


def _seated(filling: Filling, before: dict[int, Week], seats: list[Seat], random: Random) -> dict[int, Week] | None:
    """The weeks with these seats given stations anew; the board is left as it was."""
    board = filling.board
    moving = {(place, start) for place, start, _ in seats}
    staying = {
        place: [session for session in week if (place, session.start) not in moving] for place, week in before.items()
    }
    gone = [(place, session) for place, week in before.items() for session in week if session not in staying[place]]
    for place, session in gone:
        board.take_off(filling.weeks[place].starts.needs, session)
    found = None
    # In order of time and round the circuit first: that alone succeeds where everybody visits all stations.
    order = sorted(seats, key=lambda seat: int(filling.weeks[seat[0]].starts.at[seat[1]]))
    for attempt in range(MOST_TRIES):
        found = _all_placed(filling, order, random if attempt else None)
        if found is not None:
            break
        random.shuffle(order)
    for place, session in found or []:
        board.take_off(filling.weeks[place].starts.needs, session)
    for place, session in gone:
        board.put(filling.weeks[place].starts.needs, session)
    if found is None:
        return None
    for place, session in found:
        staying[place].append(session)
    return {place: tuple(sorted(week, key=lambda session: session.at)) for place, week in staying.items()}


def _all_placed(filling: Filling, order: list[Seat], random: Random | None) -> list[tuple[int, Placement]] | None:
    board = filling.board
    placed: list[tuple[int, Placement]] = []
    for place, start, latest in order:
        starts = filling.weeks[place].starts
        board.turned_by = random.randrange(len(starts.needs.stations)) if random else 0
        session = board.placed(starts.needs, starts.stations_at(start), starts.spot(start), latest)
        if session is None:
            for earlier_place, earlier in placed:
                board.take_off(filling.weeks[earlier_place].starts.needs, earlier)
            return None
        placed.append((place, session))
    return placed
