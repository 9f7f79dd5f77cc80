"""The door keeps other buildings out by itself: the same lists with row security open to all of them."""

from types import SimpleNamespace

import pytest

from program.models import Building
from program.models.scoped import set_scope
from program.web.doors import Door
from tests.conftest import House
from tests.program.api.test_query_counts import LISTS
from tests.program.api.walking import addresses

DOORS = {path.removeprefix("api/"): door for path, door, methods in addresses() if methods.get("get") == "list"}


def rows_of(door: type[Door], user) -> set[int]:
    set_scope([*Building.objects.values_list("pk", flat=True)], user_id=None)
    view = door(request=SimpleNamespace(user=user, method="GET"), action="list")
    return {*view.get_queryset().values_list("pk", flat=True)}


@pytest.mark.parametrize(
    ("path", "make"), [(path, make) for path, _, make in LISTS], ids=[path for path, _, _ in LISTS]
)
def test_a_door_shows_nothing_of_another_building(arrowfen: House, stranger, path: str, make) -> None:
    make(arrowfen, 6)
    ours, theirs = rows_of(DOORS[path], arrowfen.coordinator), rows_of(DOORS[path], stranger)

    assert ours != set()
    assert ours & theirs == set()
