"""A request that comes twice is done once: its key, its work and its answer are kept in one transaction."""

import hashlib
import json
import re
from datetime import timedelta
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, OperationalError, connection, transaction
from django.http import HttpResponse
from rest_framework.request import Request
from rest_framework.response import Response

from program import clock
from program.models import Answer
from program.web.problems import Problem

KEPT_FOR = timedelta(hours=24)
KEY = re.compile(r"[A-Za-z0-9_-]{8,80}")
# Longer would hold a worker for a twin that has perhaps died; the phone asks again anyway.
WAIT = "2s"
LOCK_NOT_AVAILABLE = "55P03"
KEPT_HEADERS = ("Location", "ETag", "Content-Type")


class Replayed(Exception):
    """The request has been answered before: the answer stands on the row."""

    def __init__(self, answer: Answer) -> None:
        super().__init__(answer.key)
        self.answer = answer


def claim(request: Request) -> Answer:
    """Take the key of the request for the open transaction; Replayed when it has been answered already."""
    key = request.headers.get("Idempotency-Key", "")
    if not key:
        sentence = "Send an Idempotency-Key, new for each thing you do and the same when you try again."
        raise Problem("idempotency-key-missing", 400, sentence)
    if not KEY.fullmatch(key):
        sentence = "An Idempotency-Key has from 8 to 80 letters, digits, hyphens or underscores. Send such a one."
        raise Problem("idempotency-key-invalid", 400, sentence)
    fingerprint = fingerprint_of(request)
    answers = Answer.objects.filter(user=request.user)
    answers.filter(made_at__lt=clock.now() - KEPT_FOR).delete()
    answer = answers.filter(key=key).first()
    if answer is None:
        try:
            return _insert(Answer(user=request.user, key=key, fingerprint=fingerprint, made_at=clock.now()))
        except IntegrityError:
            # The twin has ended meanwhile, and this statement sees what it left.
            answer = answers.get(key=key)
    if answer.fingerprint != fingerprint:
        sentence = "That Idempotency-Key was used for another request. Send a new one with this request."
        raise Problem("idempotency-key-reused", 422, sentence)
    raise Replayed(answer)


def keep(answer: Answer, response: Response, **notes: Any) -> None:
    """Store what was answered; only answers of what was done, for a refusal takes the key back with its work."""
    answer.status = response.status_code
    answer.body = response.content
    kept = {name: response.headers[name] for name in KEPT_HEADERS if name in response.headers}
    answer.headers = {"kept": kept, **notes}
    answer.save(update_fields=["status", "body", "headers"])


def replay(answer: Answer) -> HttpResponse:
    response = HttpResponse(bytes(answer.body), status=answer.status, headers=answer.headers["kept"])
    response.headers["Idempotency-Replayed"] = "true"
    return response


def fingerprint_of(request: Request) -> str:
    """Of method, path and what was sent; a file counts by its bytes, for the boundary of a form is new each time."""
    sent: Any = request.data
    if hasattr(sent, "lists"):
        sent = {name: [_told(value) for value in values] for name, values in sent.lists()}
    if isinstance(sent, dict):
        # When it is sent is new each time that a phone tries again; what is sent is the same.
        sent = {name: value for name, value in sent.items() if name != "sent_at"}
    told = json.dumps([request.method, request.path, sent], sort_keys=True)
    return hashlib.sha256(told.encode(errors="surrogatepass")).hexdigest()


def _told(value: Any) -> Any:
    if not isinstance(value, UploadedFile):
        return value
    value.seek(0)
    digest = hashlib.sha256(value.read()).hexdigest()
    value.seek(0)
    return [value.name, digest]


def _insert(answer: Answer) -> Answer:
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT current_setting('lock_timeout')")
            (before,) = cursor.fetchone()
            cursor.execute("SELECT set_config('lock_timeout', %s, true)", [WAIT])
            answer.save(force_insert=True)
            cursor.execute("SELECT set_config('lock_timeout', %s, true)", [before])
    except OperationalError as error:
        if getattr(error.__cause__, "sqlstate", "") != LOCK_NOT_AVAILABLE:
            raise
        sentence = "The same request is being answered just now. Ask again in two seconds."
        raise Problem("in-progress", 409, sentence, headers={"Retry-After": "2"}) from None
    return answer
