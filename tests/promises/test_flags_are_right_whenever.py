"""Flags are what the rows say, whoever refreshed them, when and how often (control: a pass that never closes any)."""

from collections.abc import Callable
from datetime import datetime, timedelta
from random import Random

import pytest
from django.db import connection

from program import clock
from program.actions.safety import set_hold
from program.models import Session
from program.rules.errors import Refused
from scheduling.flags import refreshing
from scheduling.models import Flag
from scheduling.tasks import refresh_flags as task
from tests import factories
from tests.conftest import MONDAY, House
from tests.program.actions.arranging import booked
from tests.promises.racing import tell
from tests.scheduling.flagging import attempt, everything_of, gave_up, refreshed, trained

DAYS = 9
Step = tuple[datetime, Callable[[], object]]


def open_flags(house: House) -> list[tuple[object, ...]]:
    return sorted((everything_of(flag) for flag in Flag.objects.of(house.building).open_now()), key=str)


def a_busy_week(house: House, random: Random) -> list[Step]:
    """Bookings, sessions done on time, late and too soon, attempts, holds: in order of time."""
    opens = MONDAY + timedelta(hours=2)
    steps: list[Step] = []
    for day in range(0, DAYS - 2, 2):
        factories.on_the_circuit(house.building, house.aide, (opens + timedelta(days=day)).date(), 480, 1020)
    for resident in [house.resident() for _ in range(6)]:
        for day in sorted(random.sample(range(DAYS - 1), 3)):
            start = opens + timedelta(days=day, minutes=6 * random.randint(0, 30))
            steps.append((start - timedelta(hours=2), lambda r=resident, s=start: book(house, r, s)))
            happens = random.choice([trains, trains, fails, gives_up, nothing])
            late = start + timedelta(minutes=random.choice([0, 4, 50]))
            steps.append((late, lambda r=resident, s=start, m=late, do=happens: do(house, r, s, m)))
        if random.random() < 0.4:
            moment = opens + timedelta(days=random.randint(0, DAYS))
            steps.append((moment, lambda r=resident, m=moment: hold(house, r, m)))
    return sorted(steps, key=lambda step: step[0])


def book(house, resident, start):
    """Where the rules leave room for it."""
    try:
        booked(house, resident, start, first=resident.pk % 5)
    except Refused:
        return


def session_at(resident, start):
    return Session.objects.filter(resident=resident, starts_at=start, withdrawn_at=None).first()


def trains(house, resident, start, moment):
    if session := session_at(resident, start):
        trained(house, session, moment)


def fails(house, resident, start, moment):
    if session := session_at(resident, start):
        attempt(house, session, moment)


def gives_up(house, resident, start, moment):
    if session := session_at(resident, start):
        gave_up(house, session, moment, "no staff")


def nothing(house, resident, start, moment):
    """Nobody writes anything."""


def hold(house, resident, moment):
    until = moment + timedelta(days=1)
    set_hold(resident=resident, kind="away", reason="leave", starts_at=moment, ends_at=until, by=house.aide)


@pytest.mark.parametrize("seed", range(5))
def test_flags_refreshed_at_any_times_are_those_refreshed_once(arrowfen: House, seed: int) -> None:
    random = Random(seed)  # noqa: S311 - the same week every time
    compared = 0
    for moment, act in a_busy_week(arrowfen, random):
        with clock.at(moment):
            act()
        later = moment + timedelta(minutes=random.randint(0, 600))
        with clock.at(later):
            for _ in range(random.choice([0, 0, 1, 2])):
                refreshed(arrowfen)
            if random.random() < 0.3:
                compared += compare_with_one_pass(arrowfen)

    tell("flags beside those of one pass", tried=compared, bad=0)
    assert compared > 5


def compare_with_one_pass(house: House) -> int:
    """How many flags stand; they are those that a first pass over the same rows makes."""
    refreshed(house)
    stood = open_flags(house)
    Flag.objects.open_now().update(closed_at=clock.now() + timedelta(days=400))
    refreshed(house)
    assert open_flags(house) == stood
    return len(stood)


def test_the_task_asks_as_many_questions_for_seven_buildings_as_for_two(
    arrowfen: House, brindlewharf: House, django_assert_num_queries
) -> None:
    """The buildings, the scope, the lock and the pass; a savepoint each of scope and action, released."""
    with django_assert_num_queries(8):
        task()
    for _ in range(5):
        factories.BuildingFactory(region=arrowfen.building.region)
    with django_assert_num_queries(8):
        task()


def test_the_task_refreshes_every_building_and_those_named_alone(arrowfen: House, brindlewharf: House) -> None:
    for house in (arrowfen, brindlewharf):
        house.resident()

    task([brindlewharf.building.pk])
    refreshed_first = set(Flag.objects.values_list("building", flat=True))
    task()
    # Of everything the pass has written: the scope of the task holds all buildings.
    assert refreshed_first == {brindlewharf.building.pk}
    assert set(Flag.objects.values_list("building", flat=True)) == {arrowfen.building.pk, brindlewharf.building.pk}


def test_without_closing_a_flag_would_outlive_its_cause(arrowfen: House) -> None:
    """The control: the same pass with its closing part taken out leaves what is no longer true."""
    resident = arrowfen.resident()
    refreshed(arrowfen)
    set_hold(resident=resident, kind="away", reason="leave", starts_at=clock.now(), by=arrowfen.aide)
    never = refreshing.REFRESH.replace("AND flag.closed_at IS NULL\n", "AND false\n")
    with connection.cursor() as cursor:
        cursor.execute(never, {"moment": clock.now(), "building_ids": [arrowfen.building.pk]})
    outlived = Flag.objects.open_now().count()
    refreshed(arrowfen)

    assert (outlived, Flag.objects.open_now().count()) == (2, 0)
