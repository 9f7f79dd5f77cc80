"""Clearances and holds: what must be true before anyone trains."""

from typing import Any

from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions import safety
from program.api.places import OfBuildingFilters
from program.api.residents import Nothing
from program.models import Clearance, Hold, Resident
from program.web.doors import Door, Listed, Single
from program.web.fields import Input, InstantField, Shown, VisibleField
from program.web.filtering import VisibleFilter


class OfResidentFilters(OfBuildingFilters):
    resident = VisibleFilter(Resident.objects)


class ClearanceShown(Shown):
    class Meta:
        model = Clearance
        fields = [
            *("id", "version", "building", "resident", "given_by", "credential", "given_on", "until_on", "limits"),
            *("entered_by", "entered_at", "withdrawn_at"),
        ]


class ClearanceInput(Input):
    """One clinician's yes for a selection of residents: for all of them, or for none."""

    residents = serializers.ListField(child=VisibleField(queryset=Resident.objects), min_length=1, max_length=200)
    given_by = serializers.CharField(max_length=120)
    credential = serializers.CharField(max_length=60)
    given_on = serializers.DateField()
    until_on = serializers.DateField()
    limits = serializers.CharField(max_length=1000, required=False, allow_blank=True)


class ClearancesShown(serializers.Serializer):
    results = ClearanceShown(many=True)


class ClearanceDoor(Listed, Single, Door):
    model = Clearance
    reads = ClearanceShown
    shows = "clearance"
    inputs = {"create": ClearanceInput, "withdraw": Nothing}
    answers = {"create": ClearancesShown}
    filterset_class = OfResidentFilters
    rights = {
        "list": "see residents",
        "retrieve": "see residents",
        "create": "enter clearances",
        "withdraw": "enter clearances",
    }
    names_version = frozenset({"withdraw"})

    def create(self, request: Request) -> Response:
        sent = self.taken()
        for building in {resident.building for resident in sent["residents"]}:
            self.allow(building)
        entered = safety.enter_clearance(by=request.user, **sent)
        return Response({"results": self.told(entered, ClearanceShown)}, status=201)

    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: int) -> Response:
        clearance = self.found()
        self.taken()
        return self.answer(safety.withdraw_clearance(clearance=clearance, by=request.user, version=clearance.version))


class HoldShown(Shown):
    class Meta:
        model = Hold
        fields = [
            *("id", "version", "building", "resident", "kind", "reason", "starts_at", "ends_at", "set_by", "set_at"),
            *("released_by", "release_note"),
        ]


class HoldInput(Input):
    """Clinical, or away: in hospital, on leave, in isolation. What is booked inside is withdrawn with it."""

    resident = VisibleField(queryset=Resident.objects)
    kind = serializers.ChoiceField(Hold.Kind.choices)
    reason = serializers.CharField(max_length=120)
    starts_at = InstantField()
    ends_at = InstantField(required=False, allow_null=True)


class HoldEnd(Input):
    """Now, if no time is given."""

    ends_at = InstantField(required=False)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)


class HoldFilters(OfResidentFilters):
    kind = filters.ChoiceFilter(choices=Hold.Kind.choices)


class HoldDoor(Listed, Single, Door):
    model = Hold
    joins = ("building", "resident__building")
    reads = HoldShown
    shows = "hold"
    inputs = {"create": HoldInput, "end": HoldEnd}
    filterset_class = HoldFilters
    rights = {"list": "see residents", "retrieve": "see residents", "create": "set a hold", "end": "set a hold"}
    names_version = frozenset({"end"})

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["resident"].building)
        return self.answer(safety.set_hold(by=request.user, **sent))

    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: int) -> Response:
        """Anyone on duty ends an absence; an exercise hold is released by a clinician."""
        hold: Any = self.found()
        if hold.kind == Hold.Kind.CLINICAL:
            self.allow(hold.building, "release an exercise hold")
        return self.answer(safety.end_hold(hold=hold, by=request.user, version=hold.version, **self.taken()))
