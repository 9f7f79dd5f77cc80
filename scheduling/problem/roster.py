"""An answer to a roster problem, and its JSON form read back as strictly as a problem."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduling.problem.facts import Problem, Slot, Value
from scheduling.problem.fields import LARGEST_NUMBER, Field, read_json
from scheduling.problem.reading import MOST_RESIDENTS, MOST_SESSIONS, MOST_SPANS, MOST_STATIONS, read_slot

# Sums of rewards may pass what one reward may be.
LARGEST_SUM = LARGEST_NUMBER * MOST_RESIDENTS * MOST_SESSIONS


@dataclass(frozen=True, slots=True)
class PlacedSession:
    resident: str
    start: datetime
    end: datetime
    slots: tuple[Slot, ...]


@dataclass(frozen=True, slots=True)
class Reason:
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Unplaced:
    resident: str
    missing: int
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Conflict:
    """Facts that contradict each other; the residents they concern."""

    code: str
    text: str
    residents: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Kept:
    """How the sessions of an earlier roster fared; `moved_bound`: proven least moved where no more are lost."""

    stay: int
    moved: int
    lost: int
    moved_bound: int


@dataclass(frozen=True, slots=True)
class Roster:
    """`bound` is proven: no roster that keeps the rules has a higher value; `seconds` is the time taken."""

    sessions: tuple[PlacedSession, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    status: str = "feasible"
    objective: Value = 0
    bound: Value = 0
    seconds: float = 0.0
    conflicts: tuple[Conflict, ...] = ()
    kept: Kept | None = None


def read_roster(source: str | bytes | dict[str, Any], problem: Problem | None = None) -> Roster:
    """A `roster/1` answer; raises Malformed with the path of the first wrong field.

    With a problem, residents and stations that it does not know are refused. Without one they are let
    through: a roster to be kept may name a resident who has left since.
    """
    fields = read_json(source).keys("format status objective bound seconds sessions unplaced", "conflicts kept")
    fields["format"].one_of("roster/1")
    residents = frozenset(resident.id for resident in problem.residents) if problem else None
    stations = frozenset(station.id for station in problem.stations) if problem else None
    most = MOST_RESIDENTS * MOST_SESSIONS
    conflicts = fields.get("conflicts")
    return Roster(
        status=fields["status"].one_of("optimal", "feasible"),
        objective=fields["objective"].number(at_least=-LARGEST_SUM, at_most=LARGEST_SUM),
        bound=fields["bound"].number(at_least=-LARGEST_SUM, at_most=LARGEST_SUM),
        seconds=float(fields["seconds"].number()),
        sessions=tuple(_session(entry, residents, stations) for entry in fields["sessions"].items(at_most=most)),
        unplaced=tuple(_unplaced(entry, residents) for entry in fields["unplaced"].items(at_most=MOST_RESIDENTS)),
        conflicts=tuple(_conflict(entry) for entry in conflicts.items(at_most=most))
        if conflicts.raw is not None
        else (),
        kept=fields.get("kept").or_none(_kept),
    )


def _resident_of(field: Field, residents: frozenset[str] | None) -> str:
    name = field.text()
    if residents is not None and name not in residents:
        field.refuse("There is no resident with this id in the problem.")
    return name


def _session(field: Field, residents: frozenset[str] | None, stations: frozenset[str] | None) -> PlacedSession:
    fields = field.keys("resident start end slots")
    resident = _resident_of(fields["resident"], residents)
    start, end = fields["start"].instant(), fields["end"].instant()
    fields["end"].after(start, end, may_be_empty=False)
    slots = tuple(read_slot(entry, stations) for entry in fields["slots"].items(at_least=1, at_most=MOST_STATIONS))
    return PlacedSession(resident, start, end, slots)


def _reason(field: Field) -> Reason:
    fields = field.keys("code text")
    return Reason(fields["code"].text(), fields["text"].text(at_most=2_000))


def _unplaced(field: Field, residents: frozenset[str] | None) -> Unplaced:
    fields = field.keys("resident missing reasons")
    return Unplaced(
        _resident_of(fields["resident"], residents),
        fields["missing"].whole(at_least=1, at_most=MOST_SESSIONS),
        tuple(_reason(entry) for entry in fields["reasons"].items(at_most=MOST_SPANS)),
    )


def _conflict(field: Field) -> Conflict:
    fields = field.keys("code text residents")
    names = tuple(entry.text() for entry in fields["residents"].items(at_most=MOST_RESIDENTS))
    return Conflict(fields["code"].text(), fields["text"].text(at_most=2_000), names)


def _kept(field: Field) -> Kept:
    fields = field.keys("stay moved lost moved_bound")
    most = MOST_RESIDENTS * MOST_SESSIONS
    return Kept(*(fields[name].whole(at_least=0, at_most=most) for name in ("stay", "moved", "lost", "moved_bound")))
