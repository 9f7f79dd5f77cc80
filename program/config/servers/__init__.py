"""PostgreSQL and Valkey for a machine that has neither: from their wheels, in a folder of the project."""

import fcntl
import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from program.config.servers.account import NoServer
from program.config.servers.place import place_for, programs_for
from program.config.servers.postgres import APP, OWNER, postgres_in, start_postgres, stop_postgres
from program.config.servers.valkey import start_valkey, stop_valkey, valkey_in

__all__ = ["NoServer", "Urls", "ensure_servers", "remove_servers", "stop_servers"]


@dataclass(frozen=True, slots=True)
class Urls:
    database_url: str
    database_owner_url: str
    redis_url: str

    def environment(self) -> dict[str, str]:
        return {
            "DATABASE_URL": self.database_url,
            "DATABASE_OWNER_URL": self.database_owner_url,
            "REDIS_URL": self.redis_url,
        }


def ensure_servers(home: Path, *, durable: bool) -> Urls:
    """Find or start both servers of this home, and say where they are.

    A URL that the environment already gives is left alone and its server not started. `durable=False` is for tests:
    faster, and a power cut may lose everything. Raises NoServer with one sentence saying what to do.
    """
    database_url, redis_url = os.environ.get("DATABASE_URL", ""), os.environ.get("REDIS_URL", "")
    owner_url = os.environ.get("DATABASE_OWNER_URL", "") or database_url
    if owner_url and not database_url:
        raise NoServer("DATABASE_OWNER_URL is set and DATABASE_URL is not: set both or neither.")
    if database_url and redis_url:
        return Urls(database_url, owner_url, redis_url)
    home = home.resolve()
    with plain_failures(), only_one_at_a_time(home):
        place = place_for(home)
        programs = programs_for(place)
        if not database_url:
            postgres = postgres_in(place)
            start_postgres(postgres, programs.postgres, durable=durable)
            database_url, owner_url = postgres.url(APP), postgres.url(OWNER)
        if not redis_url:
            valkey = valkey_in(place)
            start_valkey(valkey, programs.valkey, durable=durable)
            redis_url = valkey.url
    return Urls(database_url, owner_url, redis_url)


def stop_servers(home: Path) -> None:
    """Stop both servers of this home where they run; what they hold stays in their folders."""
    home = home.resolve()
    if not home.exists():
        return
    with plain_failures(), only_one_at_a_time(home):
        place = place_for(home)
        stop_valkey(valkey_in(place))
        stop_postgres(postgres_in(place), programs_for(place).postgres)


def remove_servers(home: Path) -> None:
    """Stop both servers of this home and remove what they hold, also where it had to lie outside the home."""
    stop_servers(home)
    if not home.exists():
        return
    with plain_failures():
        place = place_for(home.resolve())
        for folder in (postgres_in(place).folder, valkey_in(place).folder, *place.folder.glob("programs*")):
            shutil.rmtree(folder, ignore_errors=True)
        if place.folder != home.resolve():
            place.folder.rmdir()


@contextmanager
def only_one_at_a_time(home: Path) -> Iterator[None]:
    home.mkdir(parents=True, exist_ok=True)
    with (home / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


@contextmanager
def plain_failures() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        where = f" at {error.filename}" if error.filename else ""
        raise NoServer(
            f"The servers' files cannot be used ({error.strerror}{where}): "
            "give yourself rights there, or set DATA_DIR to a folder of your own."
        ) from error
    except subprocess.TimeoutExpired as error:
        raise NoServer(f"{error.cmd[0]} did not finish in {error.timeout:.0f} s: try again.") from error
