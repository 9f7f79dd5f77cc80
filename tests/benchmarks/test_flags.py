"""How long one pass of the flags takes over 6 and over 60 buildings of 80 residents with half a year behind them."""

from time import monotonic

import pytest

from program import clock
from program.models import Building, Session
from program.models.scoped import scope
from scheduling.flags import refresh
from scheduling.models import Flag
from tests.benchmarks.houses_full_of_residents import full_houses
from tests.conftest import MONDAY
from tests.promises.conftest import OWNER, Doorway, connect_as

__all__ = ["connect_as"]

RESIDENTS, WEEKS = 80, 26


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("buildings", [6, 60])
def test_a_pass_over_all_buildings(buildings: int, connect_as: Doorway, capsys: pytest.CaptureFixture[str]) -> None:
    with scope([]):
        houses = full_houses(buildings, residents=RESIDENTS, weeks=WEEKS)
    with connect_as(OWNER) as owner:
        # As the server does by itself within a minute.
        owner.execute("ANALYZE")
        owner.commit()
    everything = list(Building.objects.values_list("pk", flat=True))
    seconds = []
    for asked in (everything, everything, [houses[0].building.pk]):
        began = monotonic()
        with clock.at(MONDAY), scope(asked):
            refresh(asked)
        seconds.append(monotonic() - began)

    first, again, one = seconds
    with scope(everything):
        rows = f"{Session.objects.count():,} sessions, {Flag.objects.open_now().count():,} flags"
        assert Flag.objects.filter(closed_at__isnull=False).count() == 0
    with capsys.disabled():
        print(f"\n{buildings:2} buildings, {rows} | first {first:.2f} s, again {again:.2f} s, one of them {one:.3f} s")  # noqa: T201 - the figures are what a benchmark is for
