"""Starts the servers for the tests before Django reads its settings: a conftest.py would come too late for that."""

import os
from collections.abc import Generator
from pathlib import Path

import pytest

from program.config.servers import NoServer, ensure_servers

HOME = Path(__file__).resolve().parents[1] / ".local" / "test"


# A wrapper runs before every plain hook, so also before the one in which pytest-django reads the settings.
@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_load_initial_conftests() -> Generator[None]:
    try:
        os.environ.update(ensure_servers(HOME, durable=False).environment())
    except NoServer as refusal:
        raise pytest.UsageError(str(refusal)) from None
    yield
