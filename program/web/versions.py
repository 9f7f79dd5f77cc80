"""Which version a change was made from: a strong ETag out, If-Match in (RFC 9110, 8.8.3 and 13.1.1)."""

import re
from typing import Any

from django.db.models import Model
from rest_framework.request import Request

from program.rules.errors import Stale
from program.web.problems import Problem

ENTITY_TAG = re.compile(r'(W/)?"([\x21\x23-\x7e]*)"')
STALE = "Somebody else has changed this since you looked. See what is there now, then change it again."


def version_of(row: Any) -> int:
    """Rows that never change have one version for ever."""
    return getattr(row, "version", 1)


def etag_of(row: Model) -> str:
    return f'"{row.pk}-{version_of(row)}"'


def require_version(request: Request, row: Model) -> None:
    """Refuse unless If-Match names the version of the row as it was just read."""
    if etag_of(row) not in _named(request.headers.get("If-Match", "").strip()):
        raise Stale(STALE, current_version=version_of(row))


def _named(header: str) -> list[str]:
    """The strong tags in the header. A weak one is read and never matches; `*` names no version at all."""
    if header in {"", "*"}:
        raise Problem("version-missing", 428, "Say in If-Match which version you are changing: the ETag it came with.")
    tags = [ENTITY_TAG.fullmatch(part.strip()) for part in header.split(",")]
    if None in tags:
        raise Problem("version-malformed", 400, "If-Match takes the ETag as it came, with its quotation marks.")
    return [f'"{tag[2]}"' for tag in tags if tag and not tag[1]]
