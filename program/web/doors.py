"""What every door of the API is: find what the person may see, ask the right, call one action, answer."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.core.exceptions import ImproperlyConfigured
from django.db.models import QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from rest_framework import serializers, viewsets
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.parsers import BaseParser, JSONParser
from rest_framework.request import Request
from rest_framework.response import Response

from program import access
from program.models import Answer, Building
from program.rules.errors import Refused
from program.web.filtering import refuse_unknown
from program.web.flags import note_changed
from program.web.idempotency import Replayed, claim, keep, replay
from program.web.versions import etag_of, require_version
from program.web.viewing import note_viewed

SAFE = {"GET", "HEAD"}
# Instead of a right, where being signed in is enough: the answer is about the person alone.
SIGNED_IN = "be here"


class OneForm(DefaultContentNegotiation):
    """No address asks for a form of the answer by name: `format` is as unknown as any other word."""

    def filter_renderers(self, renderers: Any, format: str) -> Any:
        return renderers


class Door(viewsets.GenericViewSet):
    """One noun. Every action names its right; those that change what exists name the version they change."""

    model: ClassVar[Any] = None
    joins: ClassVar[Sequence[str]] = ("building",)
    together: ClassVar[Sequence[Any]] = ()
    rights: ClassVar[Mapping[str, str]] = {}
    names_version: ClassVar[frozenset[str]] = frozenset()
    # How the noun is read, what each verb takes, and what it answers where that is not the noun.
    reads: ClassVar[type[serializers.BaseSerializer] | None] = None
    inputs: ClassVar[Mapping[str, type[serializers.BaseSerializer]]] = {}
    answers: ClassVar[Mapping[str, type[serializers.BaseSerializer]]] = {}
    statuses: ClassVar[Mapping[str, int]] = {}
    # JSON, where a verb does not say otherwise.
    parses: ClassVar[Mapping[str, type[BaseParser]]] = {}
    query_names: ClassVar[Mapping[str, type[serializers.BaseSerializer]]] = {}
    # The word in the trail for what is shown of residents; empty where nothing is.
    shows: ClassVar[str] = ""

    http_method_names = ["get", "head", "post", "patch", "delete"]
    lookup_value_converter = "int"
    metadata_class = None
    content_negotiation_class = OneForm
    claimed: Answer | None = None
    allowed_in: tuple[Building | None, ...] = ()

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        # DRF calls an OPTIONS “metadata”; like any method without an action it is answered 405.
        if self.action in {None, "metadata"}:
            return
        if self.action not in self.rights:
            raise ImproperlyConfigured(f"{type(self).__name__} declares no right for “{self.action}”.")
        if self.action != "list":
            names = self.query_names.get(self.action)
            refuse_unknown(request, names().fields.keys() if names else ())
        if request.method == "POST":
            self.claimed = claim(request)

    def handle_exception(self, exc: Exception) -> Any:
        if isinstance(exc, Refused) and self.allowed_in and self.allowed_in[0]:
            exc.details = by_the_clock_of(self.allowed_in[0].zone, exc.details)
        if not isinstance(exc, Replayed):
            return super().handle_exception(exc)
        kept = exc.answer.headers
        # A role that has ended since the first answer ends the second one too.
        if set(kept["buildings"]) - set(self.may_replay_in()):
            return super().handle_exception(Http404())
        for what, keys in kept["viewed"].items():
            note_viewed(self.request, what, keys)
        return replay(exc.answer)

    def may_replay_in(self) -> Iterable[int]:
        """The buildings of which the person may be told again what they were told."""
        return self.request.user.care_building_ids()

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kwargs)
        if request.method in SAFE or not isinstance(response, Response) or response.status_code >= 300:
            return response
        if not self.allowed_in:
            raise ImproperlyConfigured(f"{type(self).__name__} wrote in “{self.action}” without asking for a right.")
        note_changed(request, [building.pk for building in self.allowed_in if building])
        if self.claimed is not None:
            viewed = request._request.__dict__.get("viewed", {})
            keep(
                self.claimed,
                response.render(),
                buildings=[building.pk for building in self.allowed_in if building],
                viewed={what: [(pk, one) for pk, ids in by.items() for one in ids] for what, by in viewed.items()},
            )
        return response

    def get_queryset(self) -> QuerySet[Any]:
        if getattr(self, "swagger_fake_view", False):
            return self.model._default_manager.none()
        rows = self.model.objects.visible_to(self.request.user)
        return rows.select_related(*self.joins).prefetch_related(*self.together)

    def get_parsers(self) -> list[BaseParser]:
        # Asked for before the action is set.
        named = getattr(self, "action", None) or self.action_map.get(self.request.method.lower(), "")
        return [self.parses.get(named, JSONParser)()]

    def get_serializer_class(self) -> Any:
        return self.inputs.get(self.action) or self.answers.get(self.action, self.reads)

    def found(self) -> Any:
        """The row of the address, if the person may see it and has the right, at the version they name."""
        row = get_object_or_404(self.get_queryset(), pk=self.kwargs["pk"])
        self.allow(row if isinstance(row, Building) else row.building)
        if self.action in self.names_version:
            require_version(self.request, row)
        return row

    def allow(self, building: Building | None, right: str | None = None) -> None:
        """NotAllowed unless the person has the action's right (or `right`) in the building."""
        access.require(self.request.user, right or self.rights[self.action], building)
        self.allowed_in += (building,)

    def taken(self) -> dict[str, Any]:
        """What was sent, judged by the input of the action."""
        is_change = self.action == "partial_update"
        sent = self.inputs[self.action](
            data=self.request.data, partial=is_change, context=self.get_serializer_context()
        )
        sent.is_valid(raise_exception=True)
        return dict(sent.validated_data)

    def asked(self) -> dict[str, Any]:
        """The query parameters of an action that is not a list."""
        sent = self.query_names[self.action](
            data=self.request.query_params.dict(), context=self.get_serializer_context()
        )
        sent.is_valid(raise_exception=True)
        return dict(sent.validated_data)

    def told(self, rows: Sequence[Any], reads: Any = None) -> list[Any]:
        """The rows as they are read; the trail keeps whose they are."""
        if self.shows:
            note_viewed(self.request, self.shows, (key for row in rows for key in self.seen_in(row)))
        reads = reads or self.answers.get(self.action, self.reads)
        context = self.get_serializer_context() | self.context_for(rows)
        return reads(rows, many=True, context=context).data

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        return [(row.building_id, row.resident_id)]

    def context_for(self, rows: Sequence[Any]) -> dict[str, Any]:
        return {}

    def answer(self, row: Any) -> Response:
        """One row, with its version; for a new one its address."""
        status = self.statuses.get(self.action, 201 if self.action == "create" else 200)
        headers = {"ETag": etag_of(row)}
        if self.action == "create":
            headers["Location"] = f"{self.request.path}{row.pk}/"
        return Response(self.told([row])[0], status=status, headers=headers)


def by_the_clock_of(zone: ZoneInfo, told: Any) -> Any:
    """The same details, instants by the clock on the wall."""
    if isinstance(told, Mapping):
        return {name: by_the_clock_of(zone, inner) for name, inner in told.items()}
    if isinstance(told, list | tuple):
        return [by_the_clock_of(zone, inner) for inner in told]
    return told.astimezone(zone).isoformat() if isinstance(told, datetime) else told


class Listed:
    """A list, newest first, a page at a time."""

    def list(self: Any, request: Request) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response(self.told(page))


class Single:
    """One by its number."""

    def retrieve(self: Any, request: Request, pk: int) -> Response:
        return self.answer(self.found())
