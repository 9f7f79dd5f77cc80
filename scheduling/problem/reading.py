"""From the JSON form of a roster problem to its facts; anything doubtful is refused, nothing is read in part."""

from dataclasses import replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from scheduling.problem.facts import (
    Cost,
    CostWindow,
    Day,
    Escort,
    FixedSession,
    Problem,
    Requirement,
    Resident,
    ShortGap,
    Slot,
    Station,
    Supervision,
    Together,
    Value,
)
from scheduling.problem.fields import Field, Fields, read_json

MOST_RESIDENTS = 5_000
MOST_STATIONS = 60
MOST_DAYS = 400
MOST_SPANS = 5_000
MOST_SESSIONS = 50
MOST_SIXTHS = 1_000_000
MOST_TURNS = 200
# Also the length of what the solver lays out in memory, so a century of opening hours is refused here.
MOST_TURNS_IN_ALL = 100_000


def read_problem(source: str | bytes | dict[str, Any]) -> Problem:
    """The problem of a `roster-problem/1` file, given as text or as parsed JSON.

    Raises Malformed with the path of the first wrong field.
    """
    fields = read_json(source).keys(
        "format timezone turn_minutes days max_wait_turns stations supervision residents", "apart together"
    )
    fields["format"].one_of("roster-problem/1")
    turn = _turn(fields["turn_minutes"])
    stations = tuple(_station(field) for field in fields["stations"].items(at_most=MOST_STATIONS))
    _all_different(fields["stations"], [station.id for station in stations])
    known_stations = frozenset(station.id for station in stations)
    days = _days(fields["days"], turn)
    problem = Problem(
        timezone=_timezone(fields["timezone"]),
        turn=turn,
        days=days,
        max_wait_turns=fields["max_wait_turns"].whole(at_least=0, at_most=MOST_TURNS),
        stations=stations,
        supervision=tuple(_supervision(field) for field in fields["supervision"].items(at_most=MOST_SPANS)),
        residents=tuple(
            _resident(field, known_stations) for field in fields["residents"].items(at_most=MOST_RESIDENTS)
        ),
    )
    _all_different(fields["residents"], [resident.id for resident in problem.residents])
    return _with_pairs(problem, fields)


def _with_pairs(problem: Problem, fields: Fields) -> Problem:
    known = frozenset(resident.id for resident in problem.residents)
    apart, together = fields.get("apart"), fields.get("together")
    return replace(
        problem,
        apart=tuple(_pair(field, known) for field in apart.items(at_most=MOST_SPANS)) if apart.raw is not None else (),
        together=tuple(_together(field, known) for field in together.items(at_most=MOST_SPANS))
        if together.raw is not None
        else (),
    )


def _timezone(field: Field) -> str:
    name = field.text()
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        field.refuse("This is not the name of a time zone, such as America/New_York.")
    return name


def _turn(field: Field) -> timedelta:
    minutes = field.number(at_most=24 * 60)
    microseconds = minutes * 60_000_000
    if microseconds <= 0 or microseconds != int(microseconds):
        field.refuse("A turn must last more than 0 minutes and a whole number of microseconds.")
    return timedelta(microseconds=int(microseconds))


def _days(field: Field, turn: timedelta) -> tuple[Day, ...]:
    days = []
    turns = 0
    for day_field in field.items(at_most=MOST_DAYS):
        fields = day_field.keys("opens closes")
        day = Day(fields["opens"].instant(), fields["closes"].instant())
        fields["closes"].after(day.opens, day.closes)
        turns += (day.closes - day.opens) // turn
        if turns > MOST_TURNS_IN_ALL:
            fields["closes"].refuse(f"The days hold more than {MOST_TURNS_IN_ALL} turns in all; shorten them.")
        days.append(day)
    return tuple(days)


def _station(field: Field) -> Station:
    fields = field.keys("id closed")
    return Station(
        id=fields["id"].text(), closed=tuple(span.span() for span in fields["closed"].items(at_most=MOST_SPANS))
    )


def _supervision(field: Field) -> Supervision:
    fields = field.keys("start end capacity")
    start, end = fields["start"].instant(), fields["end"].instant()
    fields["end"].after(start, end)
    return Supervision(start, end, fields["capacity"].whole(at_least=0, at_most=MOST_SIXTHS))


def _resident(field: Field, known_stations: frozenset[str]) -> Resident:
    fields = field.keys(
        "id sessions stations supervision available recovery_hours rewards cost fixed",
        "if_closed escort recovered_at next_session_at short_gap",
    )
    sessions = fields["sessions"].whole(at_least=0, at_most=MOST_SESSIONS)
    return Resident(
        id=fields["id"].text(),
        sessions=sessions,
        stations=_requirements(fields["stations"], known_stations),
        skips_closed_stations=_skips(fields.get("if_closed")),
        supervision=fields["supervision"].whole(at_least=0, at_most=MOST_SIXTHS),
        escort=fields.get("escort").or_none(_escort),
        available=tuple(span.span() for span in fields["available"].items(at_most=MOST_SPANS)),
        recovery_hours=fields["recovery_hours"].number(at_most=10_000),
        recovered_at=fields.get("recovered_at").or_none(Field.instant),
        next_session_at=fields.get("next_session_at").or_none(Field.instant),
        rewards=_rewards(fields["rewards"], sessions),
        cost=_cost(fields["cost"]),
        short_gap=fields.get("short_gap").or_none(_short_gap),
        fixed=tuple(_fixed(entry, known_stations) for entry in fields["fixed"].items(at_most=MOST_SPANS)),
    )


def _skips(field: Field) -> bool:
    return field.raw is not None and field.one_of("block", "skip") == "skip"


def _requirements(field: Field, known_stations: frozenset[str]) -> tuple[Requirement, ...]:
    requirements: list[Requirement] = []
    for entry in field.items(at_least=1, at_most=MOST_STATIONS):
        fields = entry.keys("station turns")
        station = _known(fields["station"], known_stations, "station")
        if any(requirement.station == station for requirement in requirements):
            fields["station"].refuse("This station stands twice in the list; each is visited once a session.")
        requirements.append(Requirement(station, fields["turns"].whole(at_least=1, at_most=MOST_TURNS)))
    return tuple(requirements)


def _escort(field: Field) -> Escort:
    fields = field.keys("turns supervision")
    return Escort(
        turns=fields["turns"].whole(at_least=0, at_most=MOST_TURNS),
        supervision=fields["supervision"].whole(at_least=0, at_most=MOST_SIXTHS),
    )


def _rewards(field: Field, sessions: int) -> tuple[Value, ...]:
    rewards: list[Value] = []
    for entry in field.items(at_least=sessions, at_most=10 * MOST_SESSIONS):
        rewards.append(entry.number(at_least=1))
        if rewards[-1] > rewards[0] or (len(rewards) > 1 and rewards[-1] > rewards[-2]):
            entry.refuse("A reward may not be higher than the one before it.")
    return tuple(rewards)


def _cost(field: Field) -> Cost:
    fields = field.keys("default windows")
    return Cost(
        default=fields["default"].number(),
        windows=tuple(_cost_window(entry) for entry in fields["windows"].items(at_most=MOST_SPANS)),
    )


def _cost_window(field: Field) -> CostWindow:
    fields = field.keys("start end cost")
    start, end = fields["start"].instant(), fields["end"].instant()
    fields["end"].after(start, end)
    return CostWindow(start, end, fields["cost"].number())


def _short_gap(field: Field) -> ShortGap:
    fields = field.keys("hours cost")
    return ShortGap(hours=fields["hours"].number(at_most=10_000), cost=fields["cost"].number())


def _fixed(field: Field, known_stations: frozenset[str]) -> FixedSession:
    slots = field.keys("slots")["slots"].items(at_least=1, at_most=MOST_STATIONS)
    return FixedSession(tuple(read_slot(slot, known_stations) for slot in slots))


def read_slot(field: Field, known_stations: frozenset[str] | None) -> Slot:
    fields = field.keys("station start end")
    station = _known(fields["station"], known_stations, "station")
    start, end = fields["start"].instant(), fields["end"].instant()
    fields["end"].after(start, end, may_be_empty=False)
    return Slot(station, start, end)


def _known(field: Field, known: frozenset[str] | None, noun: str) -> str:
    name = field.text()
    if known is not None and name not in known:
        field.refuse(f"There is no {noun} with this id in the problem.")
    return name


def _pair(field: Field, known_residents: frozenset[str]) -> tuple[str, str]:
    first, second = field.items(at_least=2, at_most=2)
    pair = _known(first, known_residents, "resident"), _known(second, known_residents, "resident")
    if pair[0] == pair[1]:
        second.refuse("A pair must name two different residents.")
    return pair


def _together(field: Field, known_residents: frozenset[str]) -> Together:
    fields = field.keys("residents reward")
    return Together(_pair(fields["residents"], known_residents), fields["reward"].number())


def _all_different(field: Field, ids: list[str]) -> None:
    seen: set[str] = set()
    for place, name in enumerate(ids):
        if name in seen:
            Field(None, f"{field.path}[{place}].id").refuse("This id stands twice; every id must be different.")
        seen.add(name)
