"""Who did what: the trail, for those who answer for it."""

from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from rest_framework import serializers

from program import access
from program.models import Audit, Building, Resident
from program.rules.errors import NotAllowed
from program.web.colleagues import kinds_by_building
from program.web.doors import Door, Listed
from program.web.fields import Shown
from program.web.filtering import VisibleFilter


class AuditShown(Shown):
    building = serializers.IntegerField(source="building_id")
    user = serializers.IntegerField(source="user_id", allow_null=True)

    class Meta:
        model = Audit
        fields = [
            *("id", "building", "user", "request_id", "action", "noun", "row_id", "before", "after", "resident_ids"),
            *("happened_at", "written_at"),
        ]


class AuditFilters(filters.FilterSet):
    building = VisibleFilter(Building.objects, method="of_building")
    resident = VisibleFilter(Resident.objects, method="of_resident")
    noun = filters.CharFilter(max_length=60)

    def of_building(self, lines: QuerySet[Any], name: str, building: Building) -> QuerySet[Any]:
        return lines.filter(building_id=building.pk)

    def of_resident(self, lines: QuerySet[Any], name: str, resident: Resident) -> QuerySet[Any]:
        return lines.filter(building_id=resident.building_id, resident_ids__contains=[resident.pk])


class AuditDoor(Listed, Door):
    model = Audit
    joins = ()
    reads = AuditShown
    shows = "trail"
    filterset_class = AuditFilters
    # Those who may correct what stands in the records are those who may see who wrote it.
    rights = {"list": "see the audit trail"}

    def get_queryset(self) -> QuerySet[Any]:
        lines = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return lines
        enough = access.RIGHTS[self.rights["list"]]
        allowed = [pk for pk, kinds in kinds_by_building(self.request.user).items() if enough & set(kinds)]
        if not allowed:
            raise NotAllowed("You may not see the trail here. Ask a coordinator or a clinician of the building.")
        return lines.filter(building_id__in=allowed)

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        return [(row.building_id, pk) for pk in row.resident_ids]
