"""The same clients as for the pages of what is true, and a house with a little to plan."""

from datetime import timedelta

import pytest

from tests import factories
from tests.conftest import House
from tests.program.pages.conftest import client_of, coordinator, queries, see_all
from tests.scheduling.pages.building_weeks import WEEK

__all__ = ["client_of", "coordinator", "queries", "see_all"]


@pytest.fixture
def busy(arrowfen: House) -> House:
    """Three residents, an aide on the circuit on Monday, Wednesday and Friday mornings."""
    for name in ("Abel", "Berg", "Czar"):
        arrowfen.resident(family_name=name)
    for offset in (0, 2, 4):
        day = WEEK.monday + timedelta(days=offset)
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, day, 8 * 60, 12 * 60)
    return arrowfen
