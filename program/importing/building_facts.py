"""What a building's workbook says, once every line of it was found to be sound."""

from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Settings:
    name: str
    region: str
    timezone: str
    turn_minutes: int = 6
    rest_after_meal_minutes: int = 60
    margin_minutes: int = 10
    grace_minutes: int = 30
    overdue_hours: int = 144
    buffer_turns: int = 1
    max_wait_turns: int = 0
    skip_closed_stations: bool = True


@dataclass(frozen=True, slots=True)
class Period:
    """A weekday's stretch of local time; Monday is 1."""

    weekday: int
    starts: time
    ends: time


@dataclass(frozen=True, slots=True)
class Meal:
    """`weekday` None means daily; `unit` empty means the whole building."""

    weekday: int | None
    starts: time
    ends: time
    unit: str


@dataclass(frozen=True, slots=True)
class StationRow:
    """Loads in `load_unit`, exactly as entered."""

    name: str
    exercise: str
    load_unit: str
    load_step: Decimal
    lightest: Decimal
    heaviest: Decimal


@dataclass(frozen=True, slots=True)
class PersonRow:
    name: str
    email: str
    role: str
    from_on: date | None
    until_on: date | None


@dataclass(frozen=True, slots=True)
class ShiftRow:
    email: str
    weekday: int
    starts: time
    ends: time
    from_on: date | None


@dataclass(frozen=True, slots=True)
class BuildingFile:
    settings: Settings
    units: tuple[str, ...]
    opening_hours: tuple[Period, ...]
    meals: tuple[Meal, ...]
    stations: tuple[StationRow, ...]
    people: tuple[PersonRow, ...]
    shifts: tuple[ShiftRow, ...]
