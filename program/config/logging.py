"""One JSON line for each thing that happened, which names nobody: ids, addresses without their words, no values."""

import logging.config
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from http.client import responses
from typing import Any

import psycopg
import structlog
from celery import current_task
from django.core.exceptions import ImproperlyConfigured
from django.db import IntegrityError, OperationalError

from program.config import env

Line = structlog.typing.EventDict
LEVEL = env.text("LOG_LEVEL", "INFO")

# Whatever else a line is given is left out: libraries add whole addresses, answers of tasks and what a browser says.
KEYS = (
    *("at", "level", "logger", "event", "request_id", "user_id", "method", "route", "status", "milliseconds"),
    *("task", "task_id", "parent_task_id", "child_task", "child_task_id", "exceptions"),
)
KEY_OF = {"child_task_name": "child_task", "duration_ms": "milliseconds"}

# Their first line names tables, constraints and modules. Other errors quote what somebody entered.
SAFE_TO_QUOTE = (
    *(IntegrityError, OperationalError, psycopg.IntegrityError, psycopg.OperationalError),
    *(ImproperlyConfigured, ImportError, NameError),
)
MOST_CAUSES = 5
HIDDEN = (
    (re.compile(r"(?<=\S)\?\S+"), "?…"),
    (re.compile(r"(/welcome/)[^/\s]+"), r"\1…"),
    (re.compile(r"(/account/password/reset/key/)[^/\s]+"), r"\1…"),
    (re.compile(r"[\w.+-]+@[\w-]+(\.[\w-]+)+"), "…"),
)

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "program.config.logging.json_lines"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": LEVEL},
    "loggers": {
        # Without the handlers of its own, one of which mails the values of local variables.
        "django": {"handlers": [], "level": "INFO"},
        # At DEBUG it writes every statement with its values.
        "django.db.backends": {"level": "INFO"},
        # What they say of a request, the line of program/web/request_lines.py says without its words.
        "django.request": {"level": "ERROR"},
        "django.server": {"handlers": [], "level": "ERROR", "propagate": True},
        "gunicorn.access": {"handlers": [], "level": "CRITICAL", "propagate": False},
        "gunicorn.error": {"handlers": [], "level": "INFO", "propagate": True},
        # The lines task_started, task_succeeded and task_failed say it without arguments and answers.
        "celery.app.trace": {"level": "CRITICAL"},
        "celery.worker.strategy": {"level": "WARNING"},
    },
}


def set_up(config: Mapping[str, Any] = LOGGING) -> None:
    logging.config.dictConfig(dict(config))
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *CONTEXT,
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )


def json_lines() -> structlog.stdlib.ProcessorFormatter:
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[*CONTEXT, without_words_of_the_request],
        processors=[
            structlog.processors.TimeStamper(fmt="iso", utc=True, key="at"),
            with_exceptions,
            with_task,
            without_secrets,
            with_known_keys_only,
            structlog.processors.JSONRenderer(ensure_ascii=False),
        ],
    )


def without_words_of_the_request(_logger: Any, _method: str, line: Line) -> Line:
    """A framework's own line, or a library's about an error, by its template: arguments are what somebody sent."""
    record: logging.LogRecord = line["_record"]
    if hasattr(record, "status_code"):
        line["event"] = responses.get(record.status_code, "refused")
    elif "exc_info" in line or record.name.split(".")[0] in {"django", "allauth"}:
        line["event"] = str(record.msg)
    return line


def with_exceptions(_logger: Any, _method: str, line: Line) -> Line:
    found = line.pop("exc_info", None)
    error = sys.exc_info()[1] if found is True else found[1] if isinstance(found, tuple) else found
    if isinstance(error, BaseException):
        line["exceptions"] = [told(one) for one in chain_of(error)]
    return line


def chain_of(error: BaseException) -> Iterator[BaseException]:
    """The error and what it came from, nearest first."""
    current: BaseException | None = error
    for _ in range(MOST_CAUSES):
        if current is None:
            return
        yield current
        current = current.__cause__ or (None if current.__suppress_context__ else current.__context__)


def told(error: BaseException) -> dict[str, Any]:
    """Where it happened, without values; what it says only where that quotes nobody."""
    kind = type(error)
    said: dict[str, Any] = {"type": f"{kind.__module__}.{kind.__qualname__}"}
    if isinstance(error, SAFE_TO_QUOTE):
        said["message"] = next(iter(str(error).splitlines()), "")
    if isinstance(error, psycopg.Error):
        said["sqlstate"] = error.sqlstate
    return said | {"frames": list(frames_of(error))}


def frames_of(error: BaseException) -> Iterator[str]:
    """“file:line function”, outermost first."""
    step = error.__traceback__
    while step is not None:
        code = step.tb_frame.f_code
        yield f"{code.co_filename}:{step.tb_lineno} {code.co_name}"
        step = step.tb_next


def with_task(_logger: Any, _method: str, line: Line) -> Line:
    if current_task:
        line.setdefault("task", current_task.name)
        line.setdefault("task_id", current_task.request.id)
    return line


def without_secrets(_logger: Any, _method: str, line: Line) -> Line:
    """Words of a search, one-time links and e-mail addresses, wherever a library writes them."""
    for key in ("event", "exceptions"):
        if key in line:
            line[key] = hidden(line[key])
    return line


def hidden(value: Any) -> Any:
    if isinstance(value, list):
        return [hidden(one) for one in value]
    if isinstance(value, dict):
        return {key: hidden(one) for key, one in value.items()}
    if isinstance(value, str):
        for pattern, instead in HIDDEN:
            value = pattern.sub(instead, value)
    return value


def with_known_keys_only(_logger: Any, _method: str, line: Line) -> Line:
    named = {KEY_OF.get(key, key): value for key, value in line.items()}
    return {key: named[key] for key in KEYS if named.get(key) is not None}


CONTEXT: tuple[Callable[..., Any], ...] = (
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
)
