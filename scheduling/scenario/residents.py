"""The residents of an invented building: moved in with agreement, clearance and exercise plan."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from program.actions.prescriptions import LineInput, prescribe
from program.actions.residents import enrol_resident
from program.actions.safety import enter_clearance
from program.models import Escort, Help, Resident, Station
from scheduling.scenario.buildings import BuildingPlan, StationPlan
from scheduling.scenario.cast import Cast
from scheduling.scenario.names import full_names

# Shares of the residents, by how much help they need at the stations.
HELP = ((Help.SHARED_BY_THREE, 0.5), (Help.SHARED_BY_TWO, 0.3), (Help.ONE_TO_ONE, 0.15), (Help.TWO_STAFF, 0.05))
OLDEST, YOUNGEST = date(1928, 1, 1), date(1955, 12, 31)
NOTES = (
    "transfers with a frame",
    "transfer belt, one person",
    "oxygen, 2 litres, check the tube",
    "hears better on the left",
    "hears better on the right",
    "glasses on before starting",
    "speak slowly, wait for the answer",
    "left shoulder: below chin height only",
    "new right hip: no crossing of the legs",
    "rest two breaths between stations",
    "weak left hand: help with the grip",
    "likes to count aloud",
    "shoes, not slippers",
    "blood sugar: had breakfast?",
    "speaks little in the morning",
)
LIMITS = ("", "", "", "no pulling above the head", "stop at the first breathlessness", "knee not below 90 degrees")
CLEARANCE_BATCHES = 6
EXPIRED, EXPIRING = 2, 3
A_YEAR = 364


@dataclass(frozen=True, slots=True)
class Newcomer:
    """Somebody who moves in: the number among all of the building's residents, the name, the help needed."""

    number: int
    given_name: str
    family_name: str
    help_sixths: int

    @property
    def name(self) -> str:
        return f"{self.given_name} {self.family_name}"


def newcomers(plan: BuildingPlan) -> list[Newcomer]:
    """Everybody who lives in the building when the demo is seen."""
    names = full_names(plan.dice("names"))
    helps = _helps(plan.dice("helps"), plan.residents)
    return [Newcomer(number, *next(names), help_sixths) for number, help_sixths in enumerate(helps, start=1)]


def move_in(cast: Cast, people: Sequence[Newcomer], *, is_first_day: bool) -> list[Resident]:
    """They move in as of the clock, with agreement and exercise plan; on the first day are those who trained before."""
    moved = []
    for one in people:
        dice = cast.plan.dice(f"resident {one.number}")
        resident = enrol_resident(
            building=cast.building,
            by=cast.coordinator,
            unit=dice.choice(cast.units),
            key=f"{cast.plan.short_name[:3].upper()}-{one.number:03}",
            given_name=one.given_name,
            family_name=one.family_name,
            date_of_birth=_day_between(dice, OLDEST, YOUNGEST),
            help_sixths=one.help_sixths,
            **_usual(cast, dice, one),
            **(_trained_before(cast, dice) if is_first_day else _new_here(cast, dice)),
        )
        moved.append(resident)
        prescribe(
            resident=resident,
            sessions_a_week=1 if dice.random() < 0.04 else 2,
            lines=list(_lines(cast, dice)),
            by=cast.clinician,
            expected_number=0,
        )
    cast.residents += moved
    return moved


def _helps(dice: Random, residents: int) -> list[int]:
    """The shares of HELP in whole residents, those who need most help never rounded away, in any order."""
    most_first: list[int] = [
        help_sixths for help_sixths, share in HELP[:0:-1] for _ in range(max(1, round(share * residents)))
    ]
    helps = most_first + [HELP[0][0]] * (residents - len(most_first))
    dice.shuffle(helps)
    return helps


def _usual(cast: Cast, dice: Random, one: Newcomer) -> dict[str, Any]:
    represented = dice.random() < 0.25
    return _escort(cast, dice, one.help_sixths) | {
        "room": str(100 + one.number),
        "bed": dice.choice(("", "", "A", "B")),
        "agreed_by": f"a daughter of {one.name}" if represented else one.name,
        "agreement_authority": "written authority on file" if represented else "",
        "helper_notes": dice.sample(NOTES, dice.choice((0, 1, 1, 2, 2, 3))),
        "preferred_half": dice.choice(("", "", "", "morning", "morning", "afternoon")),
    }


def _trained_before(cast: Cast, dice: Random) -> dict[str, Any]:
    """In the programme since before the service came."""
    since = cast.today - timedelta(days=dice.randint(60, 1_500))
    agreed_on = max(since, cast.today - timedelta(days=dice.randint(30, 300)))
    last_on = cast.today - timedelta(days=dice.randint(1, 3))
    return {
        "since": cast.at(since, 10 * 60),
        "enrolled_at": cast.at(agreed_on, 12 * 60),
        "agreed_on": agreed_on,
        "last_session_ended_at": cast.at(last_on, dice.randint(9 * 60, 16 * 60)),
        "sessions_before": dice.randint(3, 80),
    }


def _new_here(cast: Cast, dice: Random) -> dict[str, Any]:
    """Joining today; some have lived here for years."""
    since = cast.today - timedelta(days=dice.choice((0, 1, 20, 200, 900)))
    return {"since": cast.at(since, 10 * 60), "agreed_on": cast.today}


def _escort(cast: Cast, dice: Random, help_sixths: int) -> dict[str, int]:
    if dice.random() >= cast.plan.escorted:
        return {}
    people = Escort.TWO_PEOPLE if help_sixths == Help.TWO_STAFF and dice.random() < 0.5 else Escort.ESCORTED
    return {"escort_people": people, "escort_minutes": dice.choice(cast.plan.escort_minutes)}


def _lines(cast: Cast, dice: Random) -> Iterator[LineInput]:
    """Most do every station; a few leave one out."""
    left_out = dice.choice(cast.stations) if dice.random() < 0.12 else None
    planned = {station.name: station for station in cast.plan.stations}
    for station in cast.stations:
        if station != left_out:
            yield _line(station, planned[station.name], dice)


def _line(station: Station, plan: StationPlan, dice: Random) -> LineInput:
    least, most = (int(load / plan.load_step) for load in plan.usual)
    # Half of the sum of two throws: most loads lie in the middle.
    steps = (dice.randint(least, most) + dice.randint(least, most)) // 2
    return LineInput(
        station=station,
        load=Decimal(steps) * plan.load_step,
        load_unit=plan.load_unit,
        turns=plan.turns,
        settings=f"seat {dice.randint(1, 7)}" if "press" in plan.exercise else "",
    )


def clear_all(cast: Cast, residents: Sequence[Resident]) -> None:
    """A few clearances have run out when the demo is seen, a few are about to; the rest were given on rounds."""
    dice, last_day = cast.plan.dice("clearances"), cast.last_day
    waiting = dice.sample(residents, len(residents))
    out = [waiting.pop() for _ in range(EXPIRED)]
    soon = [waiting.pop() for _ in range(EXPIRING)]
    enter(cast, out, last_day - timedelta(days=dice.randint(2, 9)))
    enter(cast, soon, last_day + timedelta(days=dice.randint(2, 11)))
    for batch in range(CLEARANCE_BATCHES):
        # Given before the service came, so none lasts for more than nine months from here.
        enter(cast, waiting[batch::CLEARANCE_BATCHES], last_day + timedelta(days=dice.randint(60, 265)))


def enter(cast: Cast, residents: Sequence[Resident], until_on: date) -> None:
    """One clearance of a year for each of these residents."""
    enter_clearance(
        residents=residents,
        given_by=cast.clinician.name,
        credential="physician (invented)",
        given_on=until_on - timedelta(days=A_YEAR),
        until_on=until_on,
        limits=cast.plan.dice(f"limits {until_on}").choice(LIMITS),
        by=cast.clinician,
    )


def _day_between(dice: Random, first: date, last: date) -> date:
    return first + timedelta(days=dice.randint(0, (last - first).days))
