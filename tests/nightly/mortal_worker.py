"""The service's own worker, of which a task dies at statement KILL_AT together with the whole worker."""

import os
from collections.abc import Callable
from typing import Any

from django.db import connection

from program.config.celery import app
from tests.nightly.killing import DiesAt

__all__ = ["app"]

WORKER = os.getpid()


class DiesInTheChild:
    """What the worker itself asks of the database is no step of the task."""

    def __init__(self, statement: int) -> None:
        self.dies = DiesAt(statement, then=WORKER)

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        if os.getpid() == WORKER:
            return execute(sql, params, many, context)
        return self.dies(execute, sql, params, many, context)


if os.environ.get("KILL_AT"):
    # Forked children have the wrapper of the process that they come from.
    connection.execute_wrappers.append(DiesInTheChild(int(os.environ["KILL_AT"])))
