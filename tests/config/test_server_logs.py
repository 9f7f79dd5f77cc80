"""The log of the database knows nobody: a refused statement stands in it without its values."""

from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import yaml

from program.config.servers import ensure_servers
from program.config.servers.place import place_for
from program.config.servers.postgres import postgres_in
from tests.config.conftest import home_for_servers

COMPOSE = yaml.safe_load((Path(__file__).parents[2] / "docker-compose.yml").read_text())
CANARY, REFUSED = "Rose canary", "duplicate key value violates unique constraint"


@pytest.fixture(scope="module")
def server() -> Iterator[tuple[str, Path]]:
    """The owner's address, and the file that the server writes."""
    with home_for_servers() as home:
        yield ensure_servers(home, durable=False).database_owner_url, postgres_in(place_for(home)).log


def name_twice(url: str, **options: str) -> None:
    with psycopg.connect(url, autocommit=True, **options) as connection:
        connection.execute("CREATE TEMPORARY TABLE people (name text UNIQUE)")
        for _ in range(2):
            # As the framework sends it: with the values inside the statement.
            connection.execute(f"INSERT INTO people VALUES ('{CANARY}')")  # noqa: S608 - our own constant


def test_a_clash_of_names_stands_in_the_log_without_the_name(server: tuple[str, Path]) -> None:
    url, log = server
    with pytest.raises(psycopg.errors.UniqueViolation, match=CANARY):
        name_twice(url)

    assert (REFUSED in log.read_text(), CANARY in log.read_text()) == (True, False)
    # The control: the same with the settings that a server comes with, which its superuser may choose.
    as_it_comes = "-c log_min_error_statement=error -c log_error_verbosity=default"
    with pytest.raises(psycopg.errors.UniqueViolation):
        name_twice(url, user="postgres", options=as_it_comes)

    assert CANARY in log.read_text()


def test_the_container_is_started_with_the_same_settings_as_the_embedded_server(server: tuple[str, Path]) -> None:
    told = dict(setting.split("=") for setting in COMPOSE["services"]["postgres"]["command"] if "=" in setting)
    with psycopg.connect(server[0]) as connection:
        embedded = {name: connection.execute(f"SHOW {name}").fetchone()[0] for name in told}

    assert embedded == told == {"log_min_error_statement": "panic", "log_error_verbosity": "terse"}
