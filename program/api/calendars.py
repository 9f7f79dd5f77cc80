"""Residents' calendars: commitments, the times that follow from them, and who trains with whom."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions import calendars, pairings
from program.api.places import OfBuildingFilters
from program.api.residents import Nothing
from program.api.safety import OfResidentFilters
from program.models import Building, Commitment, CommitmentTime, Pairing, Resident
from program.web.doors import Door, Listed, Single
from program.web.fields import Change, Input, Shown, VisibleField
from program.web.filtering import InstantFilter, VisibleFilter

MONTH = 60 * 24 * 31


class CommitmentShown(Shown):
    class Meta:
        model = Commitment
        fields = [
            *("id", "version", "building", "resident", "uid", "kind", "title", "is_movable", "margin_before_minutes"),
            *("margin_after_minutes", "starts", "timezone", "is_all_day", "minutes", "rrule", "rdates", "exdates"),
            *("overrides", "last_confirmed_on", "ended_at"),
        ]


class CommitmentChange(Change):
    """In the terms of RFC 5545; `starts`, `rdates` and `exdates` are times by the wall clock of `timezone`."""

    kind = serializers.ChoiceField(Commitment.Kind.choices)
    title = serializers.CharField(max_length=120, required=False, allow_blank=True)
    starts = serializers.CharField(max_length=32)
    timezone = serializers.CharField(max_length=64)
    minutes = serializers.IntegerField(min_value=1, max_value=MONTH)
    is_movable = serializers.BooleanField(required=False)
    is_all_day = serializers.BooleanField(required=False)
    rrule = serializers.CharField(max_length=500, required=False, allow_blank=True)
    rdates = serializers.ListField(child=serializers.CharField(max_length=32), max_length=100, required=False)
    exdates = serializers.ListField(child=serializers.CharField(max_length=32), max_length=1000, required=False)
    margin_before_minutes = serializers.IntegerField(min_value=0, max_value=1440, required=False, allow_null=True)
    margin_after_minutes = serializers.IntegerField(min_value=0, max_value=1440, required=False, allow_null=True)
    last_confirmed_on = serializers.DateField(required=False)


class CommitmentInput(CommitmentChange):
    resident = VisibleField(queryset=Resident.objects)


class CommitmentFilters(OfResidentFilters):
    kind = filters.ChoiceFilter(choices=Commitment.Kind.choices)
    ended = filters.BooleanFilter("ended_at", lookup_expr="isnull", exclude=True)


class CommitmentDoor(Listed, Single, Door):
    model = Commitment
    joins = ("building", "resident__building")
    reads = CommitmentShown
    shows = "calendar"
    inputs = {"create": CommitmentInput, "partial_update": CommitmentChange, "end": Nothing}
    filterset_class = CommitmentFilters
    rights = {
        "list": "see residents",
        "retrieve": "see residents",
        "create": "change calendars",
        "partial_update": "change calendars",
        "end": "change calendars",
    }
    names_version = frozenset({"partial_update", "end"})

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["resident"].building)
        return self.answer(calendars.add_commitment(by=request.user, **sent))

    def partial_update(self, request: Request, pk: int) -> Response:
        return self._act(calendars.change_commitment)

    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: int) -> Response:
        """Taken out of the calendar from now on."""
        return self._act(calendars.end_commitment)

    def _act(self, verb: Any) -> Response:
        commitment = self.found()
        return self.answer(
            verb(commitment=commitment, by=self.request.user, version=commitment.version, **self.taken())
        )


class CommitmentTimeShown(Shown):
    class Meta:
        model = CommitmentTime
        fields = [
            *("id", "building", "commitment", "resident", "starts_at", "ends_at", "blocks_from", "blocks_until"),
        ]


class CommitmentTimeFilters(OfResidentFilters):
    commitment = VisibleFilter(Commitment.objects)


# “from” cannot be the name of an attribute.
CommitmentTimeFilters.base_filters |= {
    "from": InstantFilter(field_name="blocks_until", lookup_expr="gt"),
    "until": InstantFilter(field_name="blocks_from", lookup_expr="lt"),
}


class CommitmentTimeDoor(Listed, Door):
    model = CommitmentTime
    reads = CommitmentTimeShown
    shows = "calendar"
    filterset_class = CommitmentTimeFilters
    rights = {"list": "see residents"}


class PairingShown(Shown):
    class Meta:
        model = Pairing
        fields = ["id", "building", "kind", "first", "second"]


class PairingInput(Input):
    building = VisibleField(queryset=Building.objects)
    kind = serializers.ChoiceField(Pairing.Kind.choices)
    first = VisibleField(queryset=Resident.objects)
    second = VisibleField(queryset=Resident.objects)


class PairingFilters(OfBuildingFilters):
    resident = VisibleFilter(Resident.objects, method="of_resident")

    def of_resident(self, found: QuerySet[Any], name: str, resident: Resident) -> QuerySet[Any]:
        return found.filter(Q(first=resident) | Q(second=resident))


class PairingDoor(Listed, Single, Door):
    model = Pairing
    reads = PairingShown
    shows = "pairing"
    inputs = {"create": PairingInput}
    filterset_class = PairingFilters
    rights = {
        "list": "see residents",
        "retrieve": "see residents",
        "create": "change residents",
        "destroy": "change residents",
    }
    names_version = frozenset({"destroy"})

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        return [(row.building_id, row.first_id), (row.building_id, row.second_id)]

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["building"])
        return self.answer(pairings.pair(**sent))

    def destroy(self, request: Request, pk: int) -> Response:
        pairings.unpair(pairing=self.found())
        return Response(status=204)
