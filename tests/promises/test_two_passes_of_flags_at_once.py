"""Two passes of the flags at once leave one flag a cause, and the later one knows no less than the earlier one."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, connections, transaction

from program import clock
from program.models import Resident
from program.models.scoped import scope
from scheduling.flags import refresh
from scheduling.models import Flag
from tests.conftest import MONDAY, House

pytestmark = pytest.mark.django_db(transaction=True)


def one_pass(building: int) -> int:
    """A pass of its own connection: how many flags it opened."""
    try:
        with clock.at(MONDAY), scope([building]):
            return refresh([building], MONDAY).opened
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
        with scope([building]):
            refresh([building], MONDAY)
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
