"""How the API says no: one body for every refusal (RFC 9457), with a stable type and a sentence to act on."""

from collections.abc import Iterator, Mapping
from functools import singledispatch
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import DataError, IntegrityError, OperationalError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from program.models.constraints import broken_by
from program.rules.errors import Refused
from program.web.problem_types import PROBLEM_TYPES
from program.web.scope import status_of

MEDIA_TYPE = "application/problem+json"
NOTHING_HERE = "There is nothing here that you may see."

# Sentences for what a form library says in its own words, by its code.
SENTENCES = {
    "required": "This is missing. Send it too.",
    "null": "This cannot be left empty.",
    "blank": "This cannot be left empty.",
    "empty": "This cannot be left empty.",
    "does_not_exist": NOTHING_HERE,
    "incorrect_type": "Name this by its number.",
}
# Another transaction holds what this one needs: a lock timeout, a deadlock, a failed serialisation.
BUSY_STATES = {"55P03", "40P01", "40001"}


class Problem(exceptions.APIException):
    """A refusal made by a door itself. `details` are further members of the body, `headers` of the answer."""

    def __init__(
        self, problem: str, status: int, sentence: str, *, headers: Mapping[str, str] | None = None, **details: Any
    ) -> None:
        super().__init__(sentence)
        self.problem, self.status_code, self.sentence = problem, status, sentence
        self.headers, self.details = dict(headers or {}), details


def answer_problem(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """The answer to a refused request, with everything it wrote taken back; None leaves the error to the 500 page."""
    problem = as_problem(error)
    if problem is None:
        return None
    set_rollback()
    return Response(
        body_of(problem, getattr(context["request"], "request_id", "")),
        status=problem.status_code,
        headers=problem.headers,
        content_type=MEDIA_TYPE,
    )


def body_of(problem: Problem, request_id: str) -> dict[str, Any]:
    return {
        "type": f"/problems/{problem.problem}",
        "title": PROBLEM_TYPES.get(problem.problem, PROBLEM_TYPES["refused"]),
        "status": problem.status_code,
        "detail": problem.sentence,
        "request_id": request_id,
        **problem.details,
    }


@singledispatch
def as_problem(error: Exception) -> Problem | None:
    return None


@as_problem.register
def _(error: Problem) -> Problem:
    return error


@as_problem.register
def _(error: Refused) -> Problem:
    return Problem(error.problem, status_of(error), error.sentence, **error.details)


@as_problem.register
def _(error: exceptions.ValidationError) -> Problem:
    errors = list(flattened(error.detail))
    first = errors[0] if errors else {"field": None, "sentence": "That cannot be taken as it stands."}
    label = f"“{first['field']}”: " if first["field"] else ""
    return Problem("invalid", 422, f"{label}{first['sentence']}", errors=errors)


@as_problem.register(Http404)
@as_problem.register(exceptions.NotFound)
def _(error: Exception) -> Problem:
    return Problem("not-found", 404, NOTHING_HERE)


@as_problem.register(exceptions.NotAuthenticated)
@as_problem.register(exceptions.AuthenticationFailed)
def _(error: Exception) -> Problem:
    return Problem("not-signed-in", 401, "Sign in first.", headers={"WWW-Authenticate": 'Session realm="service"'})


@as_problem.register(exceptions.PermissionDenied)
@as_problem.register(PermissionDenied)
def _(error: Exception) -> Problem:
    if str(error).startswith("CSRF"):
        sentence = "The request came without its token. Load the page again, then send it again."
        return Problem("token-missing", 403, sentence)
    return Problem("not-allowed", 403, "You may not do that. Ask your coordinator.")


@as_problem.register
def _(error: exceptions.ParseError) -> Problem:
    return Problem(
        "unreadable", 400, "The body could not be read. Send valid JSON, or a form where a file goes with it."
    )


@as_problem.register
def _(error: exceptions.MethodNotAllowed) -> Problem:
    return Problem("method-not-allowed", 405, "That cannot be done at this address. See the schema for what can.")


@as_problem.register
def _(error: exceptions.UnsupportedMediaType) -> Problem:
    return Problem(
        "unsupported-media-type", 415, "Send application/json, or multipart/form-data where a file goes with it."
    )


@as_problem.register
def _(error: exceptions.NotAcceptable) -> Problem:
    return Problem("not-acceptable", 406, "Answers are application/json. Ask for that.")


@as_problem.register
def _(error: RequestDataTooBig) -> Problem:
    return Problem("too-large", 413, "That is too large. Send less at once.")


@as_problem.register
def _(error: IntegrityError) -> Problem:
    broken = broken_by(error)
    if broken.is_clash:
        return Problem("clash", 409, broken.sentence)
    return Problem("invalid", 422, broken.sentence)


@as_problem.register
def _(error: DataError) -> Problem:
    return Problem("invalid", 422, "A number or a time is out of range. Look at what you entered and try again.")


@as_problem.register
def _(error: OperationalError) -> Problem | None:
    if getattr(error.__cause__, "sqlstate", "") not in BUSY_STATES:
        return None
    sentence = "Somebody else is changing the same thing just now. Try again in a moment."
    return Problem("busy", 409, sentence, headers={"Retry-After": "1"})


def flattened(detail: Any, path: str = "") -> Iterator[dict[str, str | None]]:
    """Every error of a nested structure as {"field": "lines.0.load", "sentence": …}; no field means the whole."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            yield from flattened(inner, path if name == "non_field_errors" else f"{path}.{name}".lstrip("."))
    elif isinstance(detail, list):
        for place, inner in enumerate(detail):
            is_row = isinstance(inner, Mapping)
            yield from flattened(inner, f"{path}.{place}".lstrip(".") if is_row else path)
    else:
        yield {"field": path or None, "sentence": SENTENCES.get(getattr(detail, "code", ""), str(detail))}
