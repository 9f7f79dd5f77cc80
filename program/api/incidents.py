"""What happened at the stations and waits for a clinician."""

from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions.incidents import see_incident
from program.api.safety import OfResidentFilters
from program.models import Incident
from program.web.doors import Door, Listed, Single
from program.web.fields import Input, Shown


class IncidentShown(Shown):
    class Meta:
        model = Incident
        fields = [
            *("id", "version", "building", "resident", "session", "hold", "event_id", "sign", "note", "happened_at"),
            *("phone_happened_at", "done_by", "entered_by", "entered_at", "seen_at", "seen_by", "seen_note"),
        ]


class SeenInput(Input):
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class IncidentFilters(OfResidentFilters):
    seen = filters.BooleanFilter(method="is_seen")

    def is_seen(self, found: QuerySet[Any], name: str, wanted: bool) -> QuerySet[Any]:
        return found.filter(seen_at__isnull=not wanted)


class IncidentDoor(Listed, Single, Door):
    model = Incident
    reads = IncidentShown
    shows = "incident"
    inputs = {"see": SeenInput}
    filterset_class = IncidentFilters
    rights = {"list": "see residents", "retrieve": "see residents", "see": "see to incidents"}
    names_version = frozenset({"see"})

    @action(detail=True, methods=["post"])
    def see(self, request: Request, pk: int) -> Response:
        """A clinician has seen it; whoever told it reads by whom."""
        incident = self.found()
        return self.answer(see_incident(incident=incident, by=request.user, version=incident.version, **self.taken()))
