"""The facts of one roster problem: a building's hours, stations and help, and what each resident needs."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from math import ceil

# Whole numbers stay int, so that equality of value and bound never depends on rounding.
Value = int | Fraction


def whole_microseconds(hours: Value) -> timedelta:
    """Rounded up: instants are whole microseconds, so a gap reaches the hours exactly when it reaches this."""
    return timedelta(microseconds=ceil(hours * 3_600_000_000))


@dataclass(frozen=True, slots=True)
class Span:
    """Half-open, both ends aware and in UTC, as every instant here."""

    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Day:
    opens: datetime
    closes: datetime


@dataclass(frozen=True, slots=True)
class Station:
    id: str
    closed: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Supervision:
    """Help on the circuit, in sixths of a member of staff; entries that overlap add up."""

    start: datetime
    end: datetime
    capacity: int


@dataclass(frozen=True, slots=True)
class Requirement:
    station: str
    turns: int


@dataclass(frozen=True, slots=True)
class Escort:
    """So many turns just before and just after a session, at so many sixths."""

    turns: int
    supervision: int


@dataclass(frozen=True, slots=True)
class CostWindow:
    start: datetime
    end: datetime
    cost: Value


@dataclass(frozen=True, slots=True)
class Cost:
    """What a session costs by its start: the first window that holds it, else the default."""

    default: Value = 0
    windows: tuple[CostWindow, ...] = ()


@dataclass(frozen=True, slots=True)
class ShortGap:
    hours: Value
    cost: Value

    @property
    def length(self) -> timedelta:
        return whole_microseconds(self.hours)


@dataclass(frozen=True, slots=True)
class Slot:
    station: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class FixedSession:
    slots: tuple[Slot, ...]

    @property
    def start(self) -> datetime:
        return min(slot.start for slot in self.slots)

    @property
    def end(self) -> datetime:
        return max(slot.end for slot in self.slots)


@dataclass(frozen=True, slots=True)
class Resident:
    """One resident's needs; `rewards` are for the first, second … new session and never increase."""

    id: str
    sessions: int
    stations: tuple[Requirement, ...]
    supervision: int
    available: tuple[Span, ...]
    rewards: tuple[Value, ...]
    recovery_hours: Value = 48
    recovered_at: datetime | None = None
    next_session_at: datetime | None = None
    skips_closed_stations: bool = False
    escort: Escort | None = None
    cost: Cost = Cost()
    short_gap: ShortGap | None = None
    fixed: tuple[FixedSession, ...] = ()

    @property
    def recovery(self) -> timedelta:
        return whole_microseconds(self.recovery_hours)


@dataclass(frozen=True, slots=True)
class Together:
    residents: tuple[str, str]
    reward: Value


@dataclass(frozen=True, slots=True)
class Problem:
    timezone: str
    turn: timedelta
    days: tuple[Day, ...]
    stations: tuple[Station, ...]
    supervision: tuple[Supervision, ...]
    residents: tuple[Resident, ...]
    max_wait_turns: int = 0
    apart: tuple[tuple[str, str], ...] = ()
    together: tuple[Together, ...] = ()
