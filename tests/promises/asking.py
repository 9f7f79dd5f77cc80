"""Every address times every method, asked by every kind of person; each request is undone."""

import json
import re
from dataclasses import dataclass
from io import BytesIO
from typing import Any
from uuid import uuid4

from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.urls import get_resolver
from django.urls.resolvers import URLResolver

from program.models import User
from tests.promises.furnished import Furnished
from tests.promises.matrix import NOT_OURS, ROW_OF, WORD_OF, body_of
from tests.signing_in import sign_in

METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")
SAFE = {"GET", "HEAD", "OPTIONS"}
PART = re.compile(r"<(?:\w+:)?(\w+)>")


@dataclass(frozen=True)
class Address:
    path: str
    noun: str

    @property
    def is_api(self) -> bool:
        return self.path.startswith("api/")

    @property
    def parts(self) -> list[str]:
        return PART.findall(self.path)

    @property
    def is_of_a_building(self) -> bool:
        """Whether the address itself names something that belongs to one building."""
        return bool({"pk", "building_id"} & set(self.parts))

    def filled(self, there: Furnished, **keys: object) -> str:
        """The address of the rows of that house; `keys` name others."""

        def told(part: re.Match[str]) -> str:
            name = part[1]
            row = self.noun if name == "pk" else ROW_OF.get(name, "")
            if self.path == "start-building/<int:import_id>/":
                row = "Start"
            return str(keys.get(name, there.rows[row].pk if row else WORD_OF.get(name, "")))

        return "/" + PART.sub(told, self.path)


def addresses(patterns: Any = None, prefix: str = "") -> list[Address]:
    """Every address of the service but those of the library for signing in."""
    found = []
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        path = f"{prefix}{pattern.pattern}"
        if isinstance(pattern, URLResolver):
            found += addresses(pattern.url_patterns, path)
        elif not path.startswith(NOT_OURS):
            model = getattr(getattr(pattern.callback, "cls", None), "model", None)
            found.append(Address(path, model.__name__ if model else ""))
    return found


def client_of(person: User | None, **options: Any) -> Client:
    client = Client(**options)
    if person is not None:
        sign_in(client, person)
    return client


def ask(client: Client, address: Address, method: str, there: Furnished, **keys: object) -> HttpResponse:
    """The answer; whatever the request wrote is undone."""
    url = address.filled(there, **keys)
    headers = {"Idempotency-Key": uuid4().hex}
    options: dict[str, Any] = {}
    if address.is_api and method not in SAFE:
        options = _sent(address, there)
        row = there.rows.get(address.noun)
        if "pk" in address.parts and row is not None:
            headers["If-Match"] = f'"{keys.get("pk", row.pk)}-{getattr(row, "version", 1)}"'
    with transaction.atomic():
        answer = client.generic(method, url, headers=headers, **options)
        transaction.set_rollback(True)
    return answer


def _sent(address: Address, there: Furnished) -> dict[str, Any]:
    if address.path == "api/imports/":
        fields = {"kind": "residents", "building": there.house.building.pk, "file": _file()}
        return {"data": encode_multipart(BOUNDARY, fields), "content_type": MULTIPART_CONTENT}
    return {"data": json.dumps(body_of(address.path, there)), "content_type": "application/json"}


def _file() -> Any:
    file = BytesIO(b"key,given_name\n")
    file.name = "residents.csv"
    return file


def everything(answer: HttpResponse) -> str:
    """Headers and body of an answer, as one text."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    return f"{dict(answer.headers)}\n{body.decode('utf-8', 'replace')}"
