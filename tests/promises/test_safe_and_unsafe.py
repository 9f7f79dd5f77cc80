"""What reads writes nothing; what writes needs the token of our own pages."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection

from tests.promises.asking import SAFE, Address, addresses, ask, client_of
from tests.promises.furnished import Furnished, furnish
from tests.promises.matrix import MATRIX, PUBLIC, START

pytestmark = pytest.mark.django_db
ALL = [address for address in addresses() if address.path not in ("live", "ready")]
UNSAFE = [(one, method) for one in ALL for method in MATRIX[one.path] if method not in SAFE]
WRITES = re.compile(
    r"^\s*(INSERT|UPDATE|DELETE|MERGE|TRUNCATE|COPY|CREATE|ALTER|DROP|WITH .*\b(INSERT|UPDATE|DELETE)\b)", re.I
)
# The trail of looks; and which building somebody is in, and since when they are signed in.
ALLOWED = re.compile(r"write_view|django_session")


@contextmanager
def written() -> Iterator[list[str]]:
    """What the block writes to the database, beside the trail of looks and the sign-in."""
    found: list[str] = []

    def look(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: dict[str, Any]) -> Any:
        if WRITES.match(sql) and not ALLOWED.search(sql):
            found.append(sql[:120])
        return execute(sql, params, many, context)

    with connection.execute_wrapper(look):
        yield found


@pytest.fixture
def here() -> Furnished:
    return furnish("Arrowfen")


@pytest.mark.parametrize("address", ALL, ids=lambda address: address.path or "/")
def test_reading_writes_nothing(here: Furnished, address: Address) -> None:
    for person in (here.house.coordinator, here.house.clinician):
        client = client_of(person)
        for method in sorted(SAFE):
            with written() as found:
                ask(client, address, method, here)
            assert (method, found) == (method, [])


def test_the_detector_sees_a_write(here: Furnished) -> None:
    """The control: the same detector round requests that do write."""
    client = client_of(here.house.coordinator)
    addresses_that_write = [one for one in ALL if one.path in ("api/units/", "api/residents/", "api/holds/")]
    for address in addresses_that_write:
        with written() as found:
            assert ask(client, address, "POST", here).status_code == 201
        assert len(found) >= 2


@pytest.mark.parametrize(("address", "method"), UNSAFE, ids=lambda one: getattr(one, "path", one))
def test_without_the_token_nothing_is_done(here: Furnished, address: Address, method: str) -> None:
    """And with it the same request is not refused for that: the test clients of all other tests send it so."""
    person = here.house.coordinator
    client = client_of(person, enforce_csrf_checks=True)
    with written() as found:
        refused = ask(client, address, method, here)
    assert (refused.status_code, found) == (403, [])
    said = refused.content.decode()
    assert "token" in said.casefold() or "page" in said.casefold()

    accepted = ask(client_of(person), address, method, here)
    assert accepted.content.decode() != said


def test_there_are_unsafe_addresses_to_try() -> None:
    assert len(UNSAFE) == 96
    # Whoever has a one-time link is not signed in yet; nothing else is sent by nobody.
    assert {one.path for one, method in UNSAFE if MATRIX[one.path][method] == PUBLIC} == {"welcome/<str:token>/"}
    assert START in {MATRIX[one.path][method] for one, method in UNSAFE}
