"""Asking the API as a person: keys and versions as a careful client sends them."""

from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from django.db import connection
from django.http import HttpResponse
from django.test import Client

from program.models import Building, User
from program.models.scoped import set_scope
from tests.signing_in import sign_in


@dataclass
class Api:
    """Requests of one person. After each, the test sees every building again."""

    user: User | None
    client: Client = field(default_factory=Client)

    def __post_init__(self) -> None:
        if self.user is not None:
            sign_in(self.client, self.user)

    def get(self, path: str, **asked: Any) -> HttpResponse:
        return self._seen(self.client.get(f"/api/{path}", asked))

    def post(
        self, path: str, sent: Any = None, *, key: str | None = None, of: Any = None, **extra: Any
    ) -> HttpResponse:
        """`of` is the row that is changed, as it was read."""
        headers = {"Idempotency-Key": key or str(uuid4())} | version_headers(of)
        options = {"content_type": "application/json"} | extra
        return self._seen(self.client.post(f"/api/{path}", sent or {}, headers=headers, **options))

    def patch(self, path: str, sent: Any, *, of: Any = None) -> HttpResponse:
        headers = version_headers(of)
        return self._seen(self.client.patch(f"/api/{path}", sent, content_type="application/json", headers=headers))

    def delete(self, path: str, *, of: Any = None) -> HttpResponse:
        return self._seen(self.client.delete(f"/api/{path}", headers=version_headers(of)))

    def _seen(self, response: HttpResponse) -> HttpResponse:
        if connection.in_atomic_block:
            set_scope([*Building.objects.values_list("pk", flat=True)], user_id=None)
        return response


def version_headers(row: Any) -> dict[str, str]:
    return {} if row is None else {"If-Match": f'"{row.pk}-{getattr(row, "version", 1)}"'}


def problem_of(response: HttpResponse) -> tuple[int, str]:
    """Status and type of a refusal, which must have the media type of one."""
    assert response.headers["Content-Type"] == "application/problem+json"
    return response.status_code, response.json()["type"].removeprefix("/problems/")
