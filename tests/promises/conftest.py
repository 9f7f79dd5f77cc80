"""Ways into the test database beside the service's own: as its owner, and as its superuser."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager

import psycopg
import pytest
from django.db import connection, connections, transaction

from tests.conftest import House, build_house
from tests.promises.furnished import Furnished, furnish

OWNER, SUPERUSER = "service_owner", "postgres"
Doorway = Callable[[str], AbstractContextManager[psycopg.Connection]]


@pytest.fixture
def connect_as(transactional_db: None) -> Doorway:
    """A connection as another role of the server, in a transaction that is rolled back at its end."""

    @contextmanager
    def connected(role: str) -> Iterator[psycopg.Connection]:
        told = connection.get_connection_params()
        where = {name: told[name] for name in ("dbname", "host", "port") if told.get(name)}
        with psycopg.connect(**where, user=role) as other:
            yield other
            other.rollback()

    return connected


@pytest.fixture
def two_houses(transactional_db: None) -> tuple[Furnished, Furnished]:
    """Two buildings with a row in every table each, committed: what is set for a transaction ends with it."""
    with transaction.atomic():
        return furnish("Arrowfen"), furnish("Brindlewharf")


@pytest.fixture
def real_house(transactional_db: None) -> Iterator[House]:
    """A house in committed rows, for tests with more than one connection."""
    with transaction.atomic():
        house = build_house()
    yield house
    connections.close_all()
