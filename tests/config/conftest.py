"""Homes for servers of their own, away from the ones that the other tests use."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from program.config.servers import stop_servers
from program.config.servers.place import place_for


@contextmanager
def home_for_servers(*below: str) -> Iterator[Path]:
    # Not tmp_path: pytest closes its folders to every other account, and that is one of the cases tested here.
    top = Path(tempfile.mkdtemp(prefix="servers-"))
    top.chmod(0o755)
    home = top.joinpath(*below)
    home.mkdir(parents=True, exist_ok=True)
    try:
        yield home
    finally:
        stop_servers(home)
        shutil.rmtree(place_for(home).folder)
        shutil.rmtree(top, ignore_errors=True)


@pytest.fixture(scope="module", autouse=True)
def no_urls_given() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        for name in ("DATABASE_URL", "DATABASE_OWNER_URL", "REDIS_URL"):
            patch.delenv(name, raising=False)
        yield


@pytest.fixture
def home() -> Iterator[Path]:
    with home_for_servers() as made:
        yield made
