"""Random histories of residents, written as rows at once: the same ones for the same seed."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from random import Random
from typing import Any

from program.models import Hold, Resident, Session
from program.rules.states import State
from tests.conftest import House

HALF_HOUR = timedelta(minutes=30)
# What a session's row holds in each state, with its planned start as the origin of time.
TRACES: dict[State, dict[str, timedelta]] = {
    State.PUBLISHED: {},
    State.DONE: {"started_at": timedelta(0), "last_set_ended_at": HALF_HOUR, "ended_at": HALF_HOUR},
    State.GIVEN_UP: {"given_up_at": timedelta(0)},
    State.WITHDRAWN: {"withdrawn_at": timedelta(hours=-1)},
    State.ENDED_WITHOUT_A_SET: {"started_at": timedelta(0), "ended_at": HALF_HOUR},
    State.MISSED: {"attempted_at": timedelta(0)},
}


def session_row(house: House, resident: Resident, starts_at: datetime, state: State, **more: Any) -> Session:
    """A row that holds nothing of the person, so that any number can be written at once."""
    traces = {name: starts_at + after for name, after in TRACES[state].items()}
    return Session(
        building=house.building,
        resident=resident,
        person_id=resident.person_id,
        prescription=resident.prescriptions.get(),
        starts_at=starts_at,
        ends_at=starts_at + HALF_HOUR,
        published_at=starts_at - timedelta(days=3),
        help_sixths=resident.help_sixths,
        is_cut=True,
        sets_done=5 if state is State.DONE else 0,
        **({"day_closes_at": starts_at + timedelta(hours=8)} | traces | more),
    )


def random_history(
    house: House, resident: Resident, random: Random, ends_at: datetime, states: Sequence[State]
) -> list[Session]:
    """Up to eight sessions in states of these, the last of them before `ends_at`."""
    count = random.randint(0, 8)
    return [
        session_row(house, resident, ends_at - timedelta(days=3 * (count - place)), random.choice(states))
        for place in range(count)
    ]


def random_holds(house: House, resident: Resident, random: Random, around: datetime) -> list[Hold]:
    """Up to four, which may overlap, touch, lie ahead or have no end."""
    holds = []
    for _ in range(random.randint(0, 4)):
        start = around + timedelta(minutes=random.randint(-20_000, 2_000))
        length = timedelta(minutes=random.randint(1, 9_000))
        holds.append(
            Hold(
                building=house.building,
                resident=resident,
                kind=random.choice(["clinical", "away"]),
                reason="leave",
                starts_at=start,
                ends_at=start + length if random.random() < 0.8 else None,
                set_by=house.aide,
                set_at=start,
            )
        )
    return holds
