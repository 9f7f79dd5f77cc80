"""Lists a page at a time, newest first: a row that is there throughout is seen once, whatever happens meanwhile."""

from typing import Any

from django.core import signing
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from program.web.problems import Problem

MOST = 200


class NewestFirst(CursorPagination):
    """By falling id, which is unique and never changes. A cursor is good for its list and its person alone."""

    ordering = "-pk"
    page_size = 50
    page_size_query_param = "limit"
    page_size_query_description = f"How many at once, from 1 to {MOST}; 50 if not given."
    max_page_size = MOST

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any] | None:
        self.salt = f"cursor of {request.user.pk} at {request.path}"
        return super().paginate_queryset(queryset, request, view)

    def get_page_size(self, request: Request) -> int:
        asked = request.query_params.get("limit")
        if asked is None:
            return self.page_size
        if not (asked.isascii() and asked.isdigit() and len(asked) <= len(str(MOST)) and 1 <= int(asked) <= MOST):
            raise Problem("invalid-filter", 400, f"“limit” takes a whole number from 1 to {MOST}.")
        return int(asked)

    def decode_cursor(self, request: Request) -> Cursor | None:
        sent = request.query_params.get("cursor")
        if sent is None:
            return None
        try:
            return Cursor(*signing.loads(sent, salt=self.salt))
        except signing.BadSignature:
            sentence = "That cursor was not given out for this list. Start again without one."
            raise Problem("unknown-cursor", 400, sentence) from None

    def encode_cursor(self, cursor: Cursor) -> str:
        token = signing.dumps([cursor.offset, cursor.reverse, cursor.position], salt=self.salt)
        return replace_query_param(self.base_url, "cursor", token)

    def get_paginated_response(self, data: Any) -> Response:
        response = super().get_paginated_response(data)
        pages = {"next": self.get_next_link(), "prev": self.get_previous_link()}
        # RFC 8288.
        if link := ", ".join(f'<{address}>; rel="{name}"' for name, address in pages.items() if address):
            response.headers["Link"] = link
        return response
