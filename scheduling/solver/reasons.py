"""Why a session found no place: every start tried against the final roster, and the rules that refuse it."""

from collections import Counter

import numpy as np

from scheduling.problem import Reason
from scheduling.solver.filling import Filling
from scheduling.solver.starts import Flags, help_is_there
from scheduling.solver.stationing import TooManyOrders

TEXTS = {
    "no_help_free": "No help is free at any time that would suit; more staff on the circuit would.",
    "no_station_free": "The stations needed are taken at times that would suit.",
    "station_closed": "A station needed is out of order at times that would suit.",
    "too_close": "Times that are left lie within the recovery time of another session.",
    "apart": "Somebody they are kept apart from is there at times that would suit.",
    "no_time": "The calendar and the opening hours leave no time that is long enough.",
    "not_worth_it": "The times that are left cost more than the session is worth.",
    "not_found": "Times seem to be left, but the search ended before a place was found.",
}


def reasons_for(filling: Filling, place: int) -> tuple[Reason, ...]:
    """The reasons of the starts that come nearest to being possible, the one that refuses most of them first."""
    starts = filling.weeks[place].starts
    considered = np.flatnonzero(starts.keeps_calendar)
    if not len(considered):
        codes = ["no_time"] if starts.is_open.any() or not len(starts.at) else ["station_closed"]
        return tuple(Reason(code, TEXTS[code]) for code in codes)
    refusals = _refusals(filling, place)
    counts = np.sum([flags[considered] for flags in refusals.values()], axis=0)
    fewest = int(counts.min())
    if fewest == 0:
        code = "not_worth_it" if _gains_nothing(filling, place, considered[counts == 0]) else "not_found"
        return (Reason(code, TEXTS[code]),)
    nearest = considered[counts == fewest]
    tally = Counter({code: int(flags[nearest].sum()) for code, flags in refusals.items()})
    return tuple(Reason(code, TEXTS[code]) for code, times in tally.most_common() if times)


def _refusals(filling: Filling, place: int) -> dict[str, Flags]:
    starts = filling.weeks[place].starts
    too_close = ~starts.keeps_recovery
    recovery = filling.weeks[place].recovery
    for session in filling.placed[place]:
        too_close |= (starts.at < session.end + recovery) & (session.at < starts.ends + recovery)
    met = ~starts.keeps_apart
    for other in filling.apart[place]:
        for session in filling.placed[other]:
            met |= (starts.at < session.end) & (session.at < starts.ends)
    no_help = ~help_is_there(filling.board, starts)
    closed = ~starts.is_open
    taken = ~starts.has_stations & starts.is_open
    # An order of stations is searched only where nothing else refuses: one refusal is the fewest there can be.
    for start in np.flatnonzero(starts.keeps_calendar & ~too_close & ~met & ~closed & ~taken):
        taken[start] = not _finds(filling, place, int(start))
    return {
        "no_help_free": no_help,
        "no_station_free": taken,
        "station_closed": closed,
        "too_close": too_close,
        "apart": met,
    }


def _finds(filling: Filling, place: int, start: int) -> bool:
    starts = filling.weeks[place].starts
    _, _, opening, tick = starts.spot(start)
    latest = int(starts.latest_ends[start])
    try:
        return (
            filling.board.fits(starts.needs, starts.stations_at(start), opening, tick, latest, ignore_help=True)
            is not None
        )
    except TooManyOrders:
        return False


def _gains_nothing(filling: Filling, place: int, free: np.ndarray) -> bool:
    """Whether one more session at any of these starts would lower the value."""
    weeks, week = filling.weeks[place], filling.placed[place]
    spans = [(session.start, session.at, session.end) for session in week]
    now = weeks.value_of(spans)
    legal = free[weeks.starts.legal[free]]
    return all(
        weeks.value_of([*spans, (int(start), int(weeks.starts.at[start]), int(weeks.starts.ends[start]))]) <= now
        for start in legal
    )
