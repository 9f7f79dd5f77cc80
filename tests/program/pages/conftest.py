"""Clients of the cast, and what the pages tell: queries without the savepoints of the tests, rows seen again."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from program.models import Building, User
from program.models.scoped import set_scope
from tests.conftest import House
from tests.signing_in import sign_in


@pytest.fixture
def client_of() -> Callable[[User], Client]:
    def signed_in(user: User) -> Client:
        client = Client()
        sign_in(client, user)
        return client

    return signed_in


@pytest.fixture
def coordinator(arrowfen: House, client_of: Callable[[User], Client]) -> Client:
    return client_of(arrowfen.coordinator)


@pytest.fixture
def see_all() -> Callable[[], None]:
    """A request narrows what the transaction of the test sees; this opens it again."""
    return lambda: set_scope(Building.objects.values_list("pk", flat=True), user_id=None)


@pytest.fixture
def queries() -> Callable[[Client, str], int]:
    """How many queries a second look at a page takes; the first one may remember the building."""

    def count(client: Client, address: str) -> int:
        assert client.get(address).status_code == 200
        with CaptureQueriesContext(connection) as captured:
            assert client.get(address).status_code == 200
        return sum("SAVEPOINT" not in query["sql"] for query in captured)

    return count
