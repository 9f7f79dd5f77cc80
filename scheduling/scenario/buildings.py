"""Six invented buildings, each with a circuit, hours and a crew of its own; pure facts."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from random import Random

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
NORTHMERE, SOUTHFELL = "Northmere", "Southfell"


@dataclass(frozen=True, slots=True)
class StationPlan:
    """A station; `usual` are the loads that residents here train with, from-to, in its own unit."""

    name: str
    exercise: str
    load_unit: str
    load_step: Decimal
    heaviest: Decimal
    usual: tuple[int, int]
    turns: int = 1


@dataclass(frozen=True, slots=True)
class Weekly:
    """A local period on several weekdays: `Weekly("Mon Tue", "08:00", "12:00")`; a meal may be one unit's own."""

    days: str
    starts: str
    ends: str
    unit: str = ""

    @property
    def weekdays(self) -> tuple[str, ...]:
        return tuple(day for day in WEEKDAYS if day[:3] in self.days.split())


@dataclass(frozen=True, slots=True)
class BuildingPlan:
    """A building as it is to be: `crew` holds the weekly shifts of each aide, `escorted` the share that is fetched."""

    name: str
    region: str
    timezone: str
    residents: int
    settings: dict[str, str]
    units: Sequence[str]
    open: Sequence[Weekly]
    meals: Sequence[Weekly]
    stations: Sequence[StationPlan]
    crew: Sequence[Sequence[Weekly]]
    escorted: float = 0.6
    escort_minutes: Sequence[int] = (5, 6, 8, 10)
    closes_next_week: bool = False
    has_broken_station: bool = False

    @property
    def short_name(self) -> str:
        return self.name.split()[0].lower()

    def dice(self, purpose: str) -> Random:
        """The same throws for the same building and purpose, whatever was thrown elsewhere."""
        return Random(f"{self.name}: {purpose}")  # noqa: S311 - invented residents are no secret


def station(name: str, exercise: str, unit: str, step: str, heaviest: str, usual: tuple[int, int]) -> StationPlan:
    return StationPlan(name, exercise, unit, Decimal(step), Decimal(heaviest), usual)


ALL_WEEK = "Mon Tue Wed Thu Fri Sat Sun"
FIVE_DAYS = "Mon Tue Wed Thu Fri"

ARROWFEN = BuildingPlan(
    name="Arrowfen House",
    region=NORTHMERE,
    timezone="America/New_York",
    residents=96,
    settings={"turn_minutes": "6", "rest_after_meal_minutes": "30", "overdue_hours": "120"},
    units=("Reed wing", "Heron wing", "Upper floor"),
    open=(Weekly(FIVE_DAYS, "08:00", "17:00"), Weekly("Sat", "08:30", "12:30")),
    meals=(Weekly(ALL_WEEK, "07:00", "07:45"), Weekly(ALL_WEEK, "12:00", "13:00"), Weekly(ALL_WEEK, "17:30", "18:30")),
    stations=(
        station("Leg press", "leg press", "lb", "5", "220", (40, 120)),
        station("Pulley row", "seated row", "lb", "5", "120", (15, 55)),
        station("Rail", "heel raise with a weight belt", "lb", "2.5", "60", (0, 30)),
        station("Cuff chair", "knee extension with cuff weights", "lb", "1", "25", (3, 15)),
        station("Chest press", "chest press", "lb", "5", "120", (15, 50)),
    ),
    crew=(
        (Weekly("Mon Tue Wed Thu", "08:00", "17:00"),),
        (Weekly("Mon Tue Wed Thu", "08:00", "17:00"),),
        (Weekly("Tue Wed Thu Fri", "08:00", "17:00"),),
        (Weekly("Mon Fri", "08:00", "17:00"), Weekly("Sat", "08:30", "12:30")),
        (Weekly("Mon Wed Fri", "08:00", "17:00"), Weekly("Sat", "08:30", "12:30")),
    ),
)

BRINDLEWHARF = BuildingPlan(
    name="Brindlewharf",
    region=NORTHMERE,
    timezone="America/New_York",
    residents=80,
    settings={"turn_minutes": "5", "rest_after_meal_minutes": "45", "margin_minutes": "15"},
    units=("Quay side", "Garden side"),
    open=(
        Weekly(FIVE_DAYS, "08:45", "11:45"),
        Weekly(FIVE_DAYS, "13:30", "17:15"),
        Weekly("Sat", "09:00", "12:00"),
    ),
    meals=(
        Weekly(ALL_WEEK, "07:15", "08:00"),
        Weekly(ALL_WEEK, "11:45", "12:30", "Quay side"),
        Weekly(ALL_WEEK, "12:15", "13:00", "Garden side"),
        Weekly(ALL_WEEK, "17:30", "18:15"),
    ),
    stations=(
        station("Leg press", "leg press", "kg", "2.5", "120", (20, 65)),
        station("Pull-down", "pulley pull-down", "kg", "2.5", "60", (5, 25)),
        station("Knee bench", "knee extension", "kg", "1", "40", (2, 14)),
        station("Curl bench", "knee curl", "kg", "1", "40", (2, 12)),
        station("Row", "seated row", "kg", "2.5", "60", (5, 25)),
        station("Toe step", "heel raise", "kg", "0.5", "20", (0, 8)),
    ),
    crew=(
        (Weekly("Mon Tue Wed Thu Fri", "08:30", "17:15"),),
        (Weekly("Mon Tue Thu Fri", "08:30", "17:15"), Weekly("Sat", "09:00", "12:00")),
        (Weekly("Mon Wed Thu", "08:30", "17:15"), Weekly("Sat", "09:00", "12:00")),
        (Weekly("Tue Wed Fri", "08:30", "17:15"),),
    ),
    has_broken_station=True,
)

COPPERMERE = BuildingPlan(
    name="Coppermere",
    region=SOUTHFELL,
    timezone="America/Denver",
    residents=72,
    settings={"turn_minutes": "6", "rest_after_meal_minutes": "60"},
    units=("Ground floor", "First floor"),
    open=(Weekly(FIVE_DAYS, "08:30", "11:45"), Weekly(FIVE_DAYS, "13:45", "17:15")),
    meals=(Weekly(ALL_WEEK, "06:45", "07:30"), Weekly(ALL_WEEK, "12:00", "12:45"), Weekly(ALL_WEEK, "17:30", "18:15")),
    stations=(
        station("Raised seat", "rise from a raised seat with a weight belt", "kg", "0.5", "20", (0, 8)),
        station("Pulley", "pulley pull-down", "kg", "1.25", "50", (5, 25)),
        station("Hip rail", "standing hip extension", "kg", "0.5", "15", (1, 6)),
    ),
    crew=(
        (Weekly("Mon Tue Wed Thu Fri", "08:30", "17:15"),),
        (Weekly("Mon Tue Thu Fri", "08:30", "17:15"),),
        (Weekly("Mon Wed", "08:30", "17:15"), Weekly("Thu", "13:45", "17:15")),
    ),
)

DUNLARCH = BuildingPlan(
    name="Dunlarch",
    region=SOUTHFELL,
    timezone="America/Denver",
    residents=64,
    settings={"turn_minutes": "10", "rest_after_meal_minutes": "30", "grace_minutes": "40"},
    units=("Larch house", "Pine house"),
    open=(Weekly(FIVE_DAYS, "09:00", "12:00"), Weekly(FIVE_DAYS, "13:20", "17:00"), Weekly("Sat", "09:00", "12:00")),
    meals=(Weekly(ALL_WEEK, "07:30", "08:15"), Weekly(ALL_WEEK, "12:00", "12:50"), Weekly(ALL_WEEK, "17:15", "18:15")),
    stations=(
        station("Sled", "leg press on the sled", "lb", "10", "260", (40, 140)),
        station("Two ropes", "rope row", "lb", "2.5", "80", (10, 40)),
        station("Ankle plate", "heel raise", "lb", "5", "90", (10, 45)),
        station("Cuffs", "knee extension with cuff weights", "lb", "0.5", "20", (2, 12)),
    ),
    crew=(
        (Weekly("Mon Tue Wed Thu Fri", "09:00", "17:00"),),
        (Weekly("Mon Tue Thu Fri", "09:00", "17:00"),),
        (Weekly("Wed", "09:00", "17:00"), Weekly("Sat", "09:00", "12:00")),
    ),
    escort_minutes=(5, 8, 10),
)

EVERSEDGE = BuildingPlan(
    name="Eversedge",
    region=NORTHMERE,
    timezone="America/New_York",
    residents=52,
    settings={"turn_minutes": "6", "rest_after_meal_minutes": "30", "buffer_turns": "2"},
    units=("Shore wing", "Dune wing"),
    open=(Weekly(FIVE_DAYS, "08:00", "16:30"),),
    meals=(Weekly(ALL_WEEK, "07:00", "07:30"), Weekly(ALL_WEEK, "12:00", "12:45"), Weekly(ALL_WEEK, "17:00", "17:45")),
    stations=(
        station("Step box", "step up with a weight vest", "lb", "1", "20", (0, 10)),
        station("Overhead pulley", "arm pull from above", "lb", "2.5", "70", (5, 30)),
        station("Side rail", "side leg raise with cuff weights", "lb", "0.5", "12", (1, 6)),
        station("Push bar", "standing push", "lb", "5", "80", (10, 35)),
        station("Curl post", "knee curl with cuff weights", "lb", "0.5", "15", (2, 8)),
        station("Lift crate", "lift from knee height", "lb", "2.5", "40", (5, 20)),
    ),
    crew=(
        (Weekly("Mon Tue Wed Thu Fri", "08:00", "16:30"),),
        (Weekly("Mon Tue Wed Thu", "08:00", "16:30"),),
        (Weekly("Mon Fri", "08:00", "16:30"), Weekly("Wed", "08:00", "12:00")),
    ),
    escorted=0.45,
    closes_next_week=True,
)

FENNIMOOR = BuildingPlan(
    name="Fennimoor",
    region=SOUTHFELL,
    timezone="America/Denver",
    residents=36,
    settings={"turn_minutes": "5", "rest_after_meal_minutes": "40", "max_wait_turns": "1"},
    units=("Whole house",),
    open=(Weekly("Mon Tue Thu Fri", "09:00", "11:50"), Weekly("Mon Tue Thu Fri", "13:40", "16:30")),
    meals=(Weekly(ALL_WEEK, "07:30", "08:15"), Weekly(ALL_WEEK, "12:00", "13:00"), Weekly(ALL_WEEK, "17:00", "18:00")),
    stations=(
        StationPlan(
            "Long press", "leg press, both legs and then each", "kg", Decimal(5), Decimal(150), (20, 60), turns=2
        ),
        station("Rope", "rope pull-down", "kg", "1", "40", (4, 18)),
        station("Bench cuffs", "knee extension with cuff weights", "kg", "0.25", "10", (1, 5)),
        station("Bar", "heel raise at the bar", "kg", "1", "15", (0, 6)),
    ),
    crew=(
        (Weekly("Mon Tue Thu Fri", "09:00", "16:30"),),
        (Weekly("Mon Thu", "09:00", "16:30"),),
        (Weekly("Tue Fri", "09:00", "16:30"),),
    ),
    escorted=0.5,
    escort_minutes=(5, 10),
)

BUILDINGS = (ARROWFEN, BRINDLEWHARF, COPPERMERE, DUNLARCH, EVERSEDGE, FENNIMOOR)
