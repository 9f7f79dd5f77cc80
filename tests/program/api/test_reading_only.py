"""Reading writes nothing but what the trail keeps of it."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.conftest import House
from tests.program.api.arranging import at, booked
from tests.program.api.asking import Api
from tests.program.api.walking import addresses

READS = sorted({path.removeprefix("api/") for path, _, methods in addresses() if "get" in methods})
WRITES = re.compile(r"^\s*(INSERT|UPDATE|DELETE|SELECT .* FOR (NO KEY )?UPDATE)", re.IGNORECASE)


@pytest.mark.parametrize("path", READS)
def test_reading_writes_nothing(arrowfen: House, path: str) -> None:
    rose = arrowfen.resident()
    session = booked(arrowfen, rose, at(arrowfen, 0, 600))
    known = {"buildings": arrowfen.building.pk, "residents": rose.pk, "sessions": session.pk}
    address = path.replace("<int:pk>", str(known.get(path.split("/")[0], 1)))
    api = Api(arrowfen.coordinator)
    asked = {"week": "2026-W49"} if path.endswith("times/") else {}
    with CaptureQueriesContext(
        connection,
    ) as queries:
        api.client.get(f"/api/{address}", asked)

    assert [query["sql"] for query in queries if WRITES.match(query["sql"])] == []
