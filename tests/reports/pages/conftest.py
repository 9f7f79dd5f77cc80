"""A region of six buildings, each with another tale to tell, and its manager."""

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from django.test import Client

from program.models import Building, Region, Role, User
from program.models.scoped import set_scope
from reports.models import Report
from tests import factories
from tests.program.pages.conftest import client_of, queries, see_all  # noqa: F401 - the same clients and counts here
from tests.reports.pages import invented


@dataclass
class Six:
    """Arrowfen and Brindlewharf as in the walk-throughs, Coppermere without sessions, and three that need a call."""

    region: Region
    manager: User
    buildings: dict[str, Building]

    def __getitem__(self, name: str) -> Building:
        return self.buildings[name]


TALES = {
    "Arrowfen": invented.figures(45, 50),
    "Brindlewharf": invented.figures(4, 5),
    "Coppermere": invented.figures(0, 0),
    "Dunholt": invented.figures(40, 50, 6, recording=invented.STOPPED_RECORDING),
    "Eskerby": invented.figures(9, 50, **invented.OUTBREAK),
}


def see_everything() -> None:
    set_scope(Building.objects.values_list("pk", flat=True), user_id=None)


def build_six() -> Six:
    region = factories.RegionFactory(name="Northern region")
    buildings = {name: factories.BuildingFactory(name=name, region=region) for name in (*TALES, "Fallowmere")}
    see_everything()
    return Six(region, factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=region), buildings)


def tell(six: Six) -> None:
    """November's reports as the schedule made them; Fallowmere's failed."""
    for name, kept in TALES.items():
        invented.report(six[name], kept)
    invented.report(six["Fallowmere"], state="failed", failure="The figures could not be added up.")


@pytest.fixture
def six(db: None) -> Six:
    told = build_six()
    tell(told)
    return told


@pytest.fixture
def manager(six: Six, client_of: Callable[[User], Client]) -> Client:  # noqa: F811 - the fixture of that name
    return client_of(six.manager)


@pytest.fixture
def elsewhere(six: Six) -> Report:
    """A report of a building in another region."""
    building = factories.BuildingFactory(name="Gorsefield")
    see_everything()
    return invented.report(building, invented.figures(1, 7))
