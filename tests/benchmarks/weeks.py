"""Generated weeks of a house, by fixed seeds: residents with therapy, meals, several help levels and exercise plans."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from random import Random

from scheduling.load.weights import rewards
from scheduling.problem import (
    Cost,
    CostWindow,
    Day,
    Escort,
    Problem,
    Requirement,
    Resident,
    ShortGap,
    Span,
    Station,
    Supervision,
)

MONDAY = datetime(2026, 11, 30, tzinfo=UTC)
TURN = timedelta(minutes=6)
OPENS, LUNCH, AFTERNOON, CLOSES = (timedelta(hours=hours) for hours in (8, 12, 13.5, 17))
STATIONS = "ABCDE"


def week(residents: int, *, seed: int, days: int = 5, staff: int = 2, escorted: float = 0.0) -> Problem:
    """A week of `residents`, two sessions each, at five stations; `escorted` is the share who are fetched."""
    random = Random(seed)  # noqa: S311 - the same week every time
    openings = [Day(MONDAY + timedelta(days=day) + OPENS, MONDAY + timedelta(days=day) + CLOSES) for day in range(days)]
    names = [f"R{number:03d}" for number in range(residents)]
    worth = rewards(asked=dict.fromkeys(names, 2), started=(), overdue=set(random.sample(names, residents // 20)))
    return Problem(
        timezone="America/New_York",
        turn=TURN,
        days=tuple(openings),
        stations=tuple(Station(name) for name in STATIONS),
        supervision=tuple(Supervision(day.opens, day.closes, 6) for day in openings for _ in range(staff)),
        residents=tuple(_resident(name, worth[name], openings, random, escorted) for name in names),
    )


def _resident(name: str, worth: Sequence[int], openings: Sequence[Day], random: Random, escorted: float) -> Resident:
    visited = STATIONS if random.random() < 2 / 3 else random.sample(STATIONS, random.choice([3, 4]))
    is_long = random.random() < 0.25
    half = random.choice([None, "morning", "afternoon"])
    noon = [day.opens + (LUNCH - OPENS) for day in openings]
    other = [
        CostWindow(day.opens, middle, 3) if half == "afternoon" else CostWindow(middle, day.closes, 3)
        for day, middle in zip(openings, noon, strict=True)
    ]
    return Resident(
        id=name,
        sessions=2,
        stations=tuple(Requirement(one, 2 if is_long and one == visited[0] else 1) for one in visited),
        supervision=random.choices([2, 3, 6, 12], weights=[50, 30, 17, 3])[0],
        available=tuple(_free(openings, random)),
        rewards=tuple(worth),
        escort=Escort(random.choice([1, 2]), 6) if random.random() < escorted else None,
        cost=Cost(0, tuple(other) if half else ()),
        short_gap=ShortGap(60, 2),
    )


def _free(openings: Sequence[Day], random: Random) -> list[Span]:
    """Mornings and afternoons around lunch and its rest, less an hour of therapy on two days of the week."""
    therapy = {day: random.choice([9, 10, 14, 15]) for day in random.sample(range(len(openings)), 2)}
    free = []
    for number, day in enumerate(openings):
        midnight = day.opens - OPENS
        for start, end in ((OPENS, LUNCH), (AFTERNOON, CLOSES)):
            taken = midnight + timedelta(hours=therapy.get(number, 24)) - timedelta(minutes=10)
            over = taken + timedelta(minutes=80)
            pieces = [(midnight + start, min(midnight + end, taken)), (max(midnight + start, over), midnight + end)]
            free += [Span(first, last) for first, last in pieces if first < last]
    return free
