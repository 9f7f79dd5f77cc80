"""Work that is killed: a process of its own that dies at its nth statement, as a machine dies, without a word."""

import os
import signal
from collections.abc import Callable
from typing import Any

from django.db import connection, connections

DIED, COMPLETED = "died", "completed"


class DiesAt:
    """Ends the process before the nth statement reaches the database; `then` is killed with it."""

    def __init__(self, statement: int, then: int | None = None) -> None:
        self.left, self.then = statement, then

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        self.left -= 1
        if self.left == 0:
            if self.then is not None:
                os.kill(self.then, signal.SIGKILL)
            os.kill(os.getpid(), signal.SIGKILL)
        return execute(sql, params, many, context)


def run_and_die(work: Callable[[], None], statement: int) -> str:
    """`work` in a child that dies at that statement, unless it has completed before."""
    connections.close_all()
    if connection.pool:
        connection.close_pool()
    child = os.fork()
    if child == 0:
        with connection.execute_wrapper(DiesAt(statement)):
            work()
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return DIED if os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL else COMPLETED
