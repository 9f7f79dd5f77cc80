"""Files from outside: judged first and shown, applied when somebody says so."""

from typing import Any

from django.conf import settings
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions.imports import apply_import, judge_file
from program.api.places import OfBuildingFilters
from program.api.residents import Nothing
from program.models import Building, Import, Resident
from program.web.doors import Door, Listed, Single
from program.web.fields import Input, Shown, VisibleField
from program.web.problems import Problem

SHORT = (
    *("id", "version", "building", "kind", "state", "file_name", "sha256", "counts", "entered_by", "entered_at"),
    *("applied_at", "applied_by"),
)


class ImportShown(Shown):
    class Meta:
        model = Import
        fields = SHORT


class ImportWhole(Shown):
    """Every row as judged, in the words of the file: new, changed, unchanged; and what was refused, with its line."""

    class Meta:
        model = Import
        fields = (*SHORT, "rows", "refusals")


class ImportInput(Input):
    """`building` is left out for the workbook that starts one; `person_key` says whose calendar it is."""

    kind = serializers.ChoiceField(Import.Kind.choices)
    building = VisibleField(queryset=Building.objects, required=False)
    file = serializers.FileField(allow_empty_file=True)
    person_key = serializers.CharField(max_length=40, required=False)


class ImportFilters(OfBuildingFilters):
    kind = filters.ChoiceFilter(choices=Import.Kind.choices)
    state = filters.ChoiceFilter(choices=Import.State.choices)


class ImportDoor(Listed, Single, Door):
    model = Import
    reads = ImportShown
    shows = "import"
    inputs = {"create": ImportInput, "apply": Nothing}
    answers = {"create": ImportWhole, "retrieve": ImportWhole}
    parses = {"create": MultiPartParser}
    filterset_class = ImportFilters
    rights = {
        "list": "see this building",
        "retrieve": "import files",
        "create": "import files",
        "apply": "import files",
    }
    names_version = frozenset({"apply"})

    def allow(self, building: Building | None, right: str | None = None) -> None:
        # The workbook of a new building belongs to no building yet.
        super().allow(building, right or ("start a building" if building is None else None))

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        if self.action not in self.answers or row.building_id is None or row.kind == Import.Kind.BUILDING:
            return []
        keys = {one["resident"] for one in row.rows if "resident" in one}
        residents = Resident.objects.visible_to(self.request.user).of(row.building).filter(key__in=keys)
        return [(row.building_id, pk) for pk in residents.values_list("pk", flat=True)]

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        return rows.defer("rows", "refusals") if self.action == "list" else rows

    def create(self, request: Request) -> Response:
        if int(request.META.get("CONTENT_LENGTH") or 0) > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
            raise Problem("too-large", 413, "That file is too large. Split it, or save it without pictures.")
        sent = self.taken()
        self.allow(sent.get("building"))
        file = sent.pop("file")
        return self.answer(judge_file(content=file.read(), file_name=file.name, by=request.user, **sent))

    @action(detail=True, methods=["post"])
    def apply(self, request: Request, pk: int) -> Response:
        """All that was not refused is written, or nothing."""
        imported = self.found()
        self.taken()
        return self.answer(apply_import(imported=imported, by=request.user, version=imported.version))
