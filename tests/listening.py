"""Ears for tests: every line the service writes, as it writes it; a queue and a worker inside the process."""

import json
import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from celery.contrib.testing.worker import start_worker

from program.config.celery import app
from program.config.logging import json_lines

PATIENCE_SECONDS = 20


class Lines(logging.Handler):
    def __init__(self, formatter: logging.Formatter) -> None:
        super().__init__()
        self.setFormatter(formatter)
        self.written: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.written.append(self.format(record))

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - the name that logging calls
        raise

    @property
    def text(self) -> str:
        return "\n".join(self.written)

    def told(self, event: str) -> list[dict[str, Any]]:
        """The lines of that event, read back."""
        return [line for line in map(json.loads, list(self.written)) if line["event"] == event]


@contextmanager
def listening(level: int = logging.INFO, formatter: logging.Formatter | None = None) -> Iterator[Lines]:
    """Every line of every logger at that level, also of those that do not hand theirs on."""
    heard = Lines(formatter or json_lines())
    known = [one for one in logging.root.manager.loggerDict.values() if isinstance(one, logging.Logger)]
    mouths = [logging.root, *(one for one in known if not one.propagate)]
    before = logging.root.level
    logging.root.setLevel(level)
    for mouth in mouths:
        mouth.addHandler(heard)
    try:
        yield heard
    finally:
        logging.root.setLevel(before)
        for mouth in mouths:
            mouth.removeHandler(heard)


@contextmanager
def queue_of_our_own() -> Iterator[None]:
    """Tasks go to a queue inside this process, which no other run of tests shares."""
    before = app.conf.broker_url
    _send_to("memory://")
    try:
        yield
    finally:
        app.control.purge()
        _send_to(before)


def _send_to(broker: str) -> None:
    # The pools themselves are kept by broker, and stay open for who comes next.
    app._pool = None
    app.amqp._producer_pool = None
    app.conf.broker_url = broker


def waiting_tasks() -> list[tuple[dict[str, Any], Any]]:
    """(headers, body) of every task in the queue, which is empty then."""
    found = []
    with app.connection() as connection, connection.SimpleQueue(app.conf.task_default_queue) as queue:
        while queue.qsize():
            message = queue.get_nowait()
            found.append((message.headers, message.payload))
            message.ack()
    return found


@contextmanager
def worker() -> Iterator[None]:
    """It sets up logging anew as it starts: listen from then on."""
    with start_worker(app, pool="solo", perform_ping_check=False):
        yield


def wait_for(happened: Callable[[], Any]) -> Any:
    """What it says as soon as it says something."""
    until = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < until:
        if found := happened():
            return found
        time.sleep(0.02)
    raise AssertionError(f"Nothing happened in {PATIENCE_SECONDS} s.")
