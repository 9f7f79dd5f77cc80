"""What else the invented residents do in their weeks: entries of their calendars, most of them recurring."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any

from program.actions.calendars import add_commitment, change_commitment
from program.models import Commitment, Resident
from scheduling.scenario.cast import Cast

WEEKLY, DAILY = "FREQ=WEEKLY;BYDAY={days}", "FREQ=DAILY"


@dataclass(frozen=True, slots=True)
class Habit:
    """Something that a share of the residents has: on one of these sets of weekdays, at one of these local times."""

    kind: str
    share: float
    minutes: int
    titles: Sequence[str]
    days: Sequence[str]
    times: Sequence[str]
    movable: float = 0.0


HABITS = (
    Habit(
        "therapy",
        0.22,
        45,
        ("physical therapy", "speech", "hand therapy"),
        ("MO,WE,FR", "TU,TH", "MO,TH"),
        ("09:00", "09:45", "10:30", "14:00", "14:45"),
        0.3,
    ),
    Habit("strength work in therapy", 0.03, 30, ("leg work with the therapist",), ("WE",), ("10:00", "14:30")),
    Habit("dialysis", 0.03, 225, ("dialysis",), ("TU,TH,SA",), ("07:30", "12:30")),
    Habit("bathing", 0.5, 30, ("bath", "shower"), ("MO", "TU", "WE,SA", "TH", "FR"), ("08:30", "09:30", "10:15"), 0.5),
    Habit(
        "activity",
        0.35,
        60,
        ("singing", "cards", "garden hour", "reading round"),
        ("MO", "TU,FR", "WE", "TH"),
        ("10:00", "14:30", "15:30"),
        0.7,
    ),
    Habit("visit", 0.3, 75, ("family",), ("SA", "SU", "WE", "FR"), ("10:30", "14:00", "15:00")),
    Habit("nursing", 0.08, 20, ("wound care",), ("MO,WE,FR", "TU,TH"), ("08:45", "11:00", "15:00")),
)
NAPS, LATE_RISERS = 0.12, 0.05
CONFIRMED = 0.7
APPOINTMENTS, OUTINGS = 0.08, 0.05


def fill_calendars(cast: Cast, residents: Sequence[Resident]) -> None:
    """Calendars of these residents; single appointments lie in the two weeks around the day of the demo."""
    first_on = cast.today - timedelta(days=cast.today.weekday())
    for resident in residents:
        dice = cast.plan.dice(f"calendar {resident.key}")
        for entry in [*_habits(dice, first_on), *_rest(dice, first_on), *_once(dice, cast.last_day)]:
            add_commitment(
                resident=resident,
                by=cast.coordinator,
                timezone=cast.building.timezone,
                last_confirmed_on=cast.today - timedelta(days=dice.choice((0, 5, 20))),
                **entry,
            )


def confirm_calendars(cast: Cast) -> None:
    """Most of what recurs is asked after again; a few entries stay as old as they are."""
    dice = cast.plan.dice("confirming")
    lasting = Commitment.objects.of(cast.building).filter(ended_at__isnull=True).exclude(rrule="")
    for commitment in lasting.select_related("building").order_by("pk"):
        if dice.random() < CONFIRMED:
            change_commitment(commitment=commitment, by=cast.coordinator, last_confirmed_on=cast.today)


def _habits(dice: Random, first_on: date) -> Iterator[dict[str, Any]]:
    for habit in HABITS:
        if dice.random() >= habit.share:
            continue
        days, at = dice.choice(habit.days), time.fromisoformat(dice.choice(habit.times))
        starts = datetime.combine(_first_of(days, first_on), at)
        entry = {
            "kind": habit.kind,
            "title": dice.choice(habit.titles),
            "starts": starts,
            "minutes": habit.minutes,
            "rrule": WEEKLY.format(days=days),
            "is_movable": dice.random() < habit.movable,
        }
        yield entry | _exceptions(dice, starts, habit.minutes)


def _exceptions(dice: Random, starts: datetime, minutes: int) -> dict[str, Any]:
    """Some are left out once in the coming weeks, some are an hour later once."""
    week = starts + timedelta(weeks=dice.randint(2, 15))
    throw = dice.random()
    if throw < 0.12:
        return {"exdates": [week]}
    if throw < 0.2:
        return {
            "overrides": {week.isoformat(): {"starts": (week + timedelta(hours=1)).isoformat(), "minutes": minutes}}
        }
    return {}


def _rest(dice: Random, first_on: date) -> Iterator[dict[str, Any]]:
    if dice.random() < NAPS:
        starts = datetime.combine(first_on, time(13, 0))
        yield {"kind": "rest", "title": "nap", "starts": starts, "minutes": 75, "rrule": DAILY}
    if dice.random() < LATE_RISERS:
        starts = datetime.combine(first_on, time(6, 0))
        yield {"kind": "refused time", "title": "gets up late", "starts": starts, "minutes": 210, "rrule": DAILY}


def _once(dice: Random, today: date) -> Iterator[dict[str, Any]]:
    day = today - timedelta(days=today.weekday()) + timedelta(days=dice.randint(0, 11))
    if dice.random() < APPOINTMENTS:
        title = dice.choice(("eye doctor", "dentist", "hearing aid", "chiropody"))
        starts = datetime.combine(day, time(dice.choice((9, 10, 14)), 30))
        yield {"kind": "appointment", "title": title, "starts": starts, "minutes": 90}
    elif dice.random() < OUTINGS:
        yield {"kind": "outing", "title": "boat trip", "starts": datetime.combine(day, time(10, 0)), "minutes": 300}


def _first_of(days: str, first_on: date) -> date:
    """The first day of a weekly rule, in the week that begins on `first_on`."""
    return first_on + timedelta(days=("MO", "TU", "WE", "TH", "FR", "SA", "SU").index(days.split(",")[0]))
