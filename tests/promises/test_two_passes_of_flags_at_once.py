"""Two passes of the flags at once leave one flag a cause, and the later one knows no less than the earlier one."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from types import SimpleNamespace

import pytest
from django.db import connection, connections, transaction

from program import clock
from program.actions.locks import FLAGS, ROSTER, working_on
from program.models import Resident
from program.models.scoped import scope
from scheduling.actions import refresh_flags
from scheduling.flags import refresh, refreshing
from scheduling.models import Flag
from tests.conftest import MONDAY, House

pytestmark = pytest.mark.django_db(transaction=True)


def one_pass(building: int) -> int:
    """A pass of its own connection: how many flags it opened."""
    try:
        with clock.at(MONDAY), scope([building]):
            return refresh([building]).opened
    finally:
        connections.close_all()


def test_eight_passes_at_once_open_each_flag_once(real_house: House) -> None:
    with transaction.atomic(), scope([real_house.building.pk]):
        for _ in range(5):
            real_house.resident()
    with ThreadPoolExecutor(8) as pool:
        opened = list(pool.map(one_pass, [real_house.building.pk] * 8))
    with scope([real_house.building.pk]):
        standing = Flag.objects.open_now().count()

    assert (sorted(opened), standing) == ([0] * 7 + [10], 10)


def test_a_pass_that_waited_sees_what_was_committed_meanwhile(real_house: House) -> None:
    """The first pass holds the lock until after the change; the second must not flag what is no longer true."""
    building = real_house.building.pk
    with transaction.atomic(), scope([building]):
        resident = real_house.resident()
    with ThreadPoolExecutor(1) as pool:
        with clock.at(MONDAY), scope([building]):
            refresh([building])
            waiting = pool.submit(one_pass, building)
            while not _somebody_waits():
                pass
            Resident.objects.filter(pk=resident.pk).update(enrolled_at=None)
        waiting.result(timeout=20)
    with scope([building]):
        assert Flag.objects.open_now().count() == 0


def _somebody_waits() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted")
        return bool(cursor.fetchone()[0])


def test_a_roster_that_is_built_and_a_pass_of_the_flags_do_not_wait_for_each_other(real_house: House) -> None:
    building = real_house.building.pk
    with working_on(ROSTER, building) as is_ours, ThreadPoolExecutor(1) as pool:
        assert is_ours
        # The lock goes with the other's connection; twenty seconds are a failure, not a wait.
        assert pool.submit(one_pass, building).result(timeout=20) == 0
    with clock.at(MONDAY), scope([building]), ThreadPoolExecutor(1) as pool:
        refresh([building])
        assert pool.submit(_builds_alone, building).result(timeout=20)


def _builds_alone(building: int) -> bool:
    try:
        with working_on(ROSTER, building) as is_ours:
            return is_ours
    finally:
        connections.close_all()


def test_a_pass_that_waited_judges_by_the_moment_at_which_it_goes_on(real_house: House) -> None:
    """Otherwise what the first has opened would be closed before it was opened."""
    building = real_house.building.pk
    told: list[bool] = []

    def asks() -> datetime:
        told.append(_we_hold_the_lock())
        return MONDAY

    with scope([building]):
        refresh_flags_by(asks, building)

    assert told == [True]


def refresh_flags_by(asks: Callable[[], datetime], building: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(refreshing, "clock", SimpleNamespace(now=asks))
        refresh_flags(building_ids=[building])


def _we_hold_the_lock() -> bool:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND granted AND mode = 'ExclusiveLock'"
            " AND classid = %s AND pid = pg_backend_pid()",
            [FLAGS],
        )
        return bool(cursor.fetchone()[0])
