"""Residents: who they are, whether they agreed, when they came and when they leave."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions import residents
from program.api.places import OfBuildingFilters
from program.models import Building, Escort, Help, Resident, Unit
from program.web.doors import Door, Listed, Single
from program.web.fields import Change, Input, InstantField, Shown, VisibleField
from program.web.filtering import VisibleFilter


class ResidentShown(Shown):
    class Meta:
        model = Resident
        fields = [
            *("id", "version", "building", "unit", "key", "given_name", "family_name", "date_of_birth", "room", "bed"),
            *("since", "until", "enrolled_at", "help_sixths", "escort_people", "escort_minutes", "helper_notes"),
            *("recovery_hours", "last_session_ended_at", "recovered_at", "sessions_before", "preferred_half"),
            *("agreed_on", "agreed_by", "agreement_authority", "agreement_withdrawn_at"),
        ]


class ResidentChange(Change):
    unit = VisibleField(queryset=Unit.objects)
    room = serializers.CharField(max_length=20, required=False, allow_blank=True)
    bed = serializers.CharField(max_length=20, required=False, allow_blank=True)
    given_name = serializers.CharField(max_length=80)
    family_name = serializers.CharField(max_length=80)
    date_of_birth = serializers.DateField()
    help_sixths = serializers.ChoiceField(Help.choices)
    escort_people = serializers.ChoiceField(Escort.choices, required=False)
    escort_minutes = serializers.IntegerField(min_value=0, max_value=60, required=False)
    helper_notes = serializers.ListField(child=serializers.CharField(max_length=80), max_length=6, required=False)
    preferred_half = serializers.ChoiceField(Resident.Half.choices, required=False, allow_blank=True)


class EnrolInput(ResidentChange):
    """`stayed_as` names an earlier stay of the same person, so that their recovery comes with them."""

    building = VisibleField(queryset=Building.objects)
    key = serializers.CharField(max_length=40)
    agreed_on = serializers.DateField()
    agreed_by = serializers.CharField(max_length=120)
    agreement_authority = serializers.CharField(max_length=120, required=False, allow_blank=True)
    since = InstantField(required=False)
    stayed_as = VisibleField(queryset=Resident.objects, required=False)
    last_session_ended_at = InstantField(required=False)
    recovered_at = InstantField(required=False)
    sessions_before = serializers.IntegerField(min_value=0, max_value=100_000, required=False)


class AgreementInput(Input):
    agreed_on = serializers.DateField()
    agreed_by = serializers.CharField(max_length=120)
    agreement_authority = serializers.CharField(max_length=120, required=False, allow_blank=True)


class RecoveryInput(Input):
    hours = serializers.DecimalField(max_digits=6, decimal_places=2, min_value=48, max_value=1000)


class StayEnd(Input):
    until = InstantField()


class Nothing(Input):
    """There is nothing to say beyond the address."""


class ResidentFilters(OfBuildingFilters):
    unit = VisibleFilter(Unit.objects)
    q = filters.CharFilter(method="named", max_length=80, label="The beginning of a given or family name.")

    def named(self, found: QuerySet[Any], name: str, beginning: str) -> QuerySet[Any]:
        return found.filter(Q(given_name__istartswith=beginning) | Q(family_name__istartswith=beginning))


class ResidentDoor(Listed, Single, Door):
    model = Resident
    reads = ResidentShown
    shows = "resident"
    inputs = {
        "create": EnrolInput,
        "partial_update": ResidentChange,
        "agree": AgreementInput,
        "withdraw_agreement": Nothing,
        "recovery": RecoveryInput,
        "end_stay": StayEnd,
    }
    filterset_class = ResidentFilters
    rights = {
        "list": "see residents",
        "retrieve": "see residents",
        "create": "change residents",
        "partial_update": "change residents",
        "agree": "change residents",
        "withdraw_agreement": "change residents",
        "recovery": "prescribe",
        "end_stay": "change residents",
    }
    names_version = frozenset({"partial_update", "agree", "withdraw_agreement", "recovery", "end_stay"})

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        return [(row.building_id, row.pk)]

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["building"])
        if earlier := sent.pop("stayed_as", None):
            sent["person"] = earlier.person
        return self.answer(residents.enrol_resident(by=request.user, **sent))

    def partial_update(self, request: Request, pk: int) -> Response:
        resident = self.found()
        return self.answer(residents.change_resident(resident=resident, version=resident.version, **self.taken()))

    @action(detail=True, methods=["post"])
    def agree(self, request: Request, pk: int) -> Response:
        """A first agreement, or a new one after a withdrawal."""
        return self._act(residents.agree_again)

    @action(detail=True, methods=["post"], url_path="withdraw-agreement")
    def withdraw_agreement(self, request: Request, pk: int) -> Response:
        """What has not begun is taken off the plan with it."""
        return self._act(residents.withdraw_agreement)

    @action(detail=True, methods=["post"])
    def recovery(self, request: Request, pk: int) -> Response:
        """How many hours lie between two sessions: 48 or more."""
        return self._act(residents.set_recovery)

    @action(detail=True, methods=["post"], url_path="end-stay")
    def end_stay(self, request: Request, pk: int) -> Response:
        """Later sessions are withdrawn with it."""
        return self._act(residents.end_stay)

    def _act(self, verb: Any) -> Response:
        resident = self.found()
        return self.answer(verb(resident=resident, by=self.request.user, version=resident.version, **self.taken()))
