"""Exercise plans: every change is a new version."""

from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions.prescriptions import MOST_LINES, LineInput, prescribe
from program.api.safety import OfResidentFilters
from program.models import LoadUnit, Prescription, PrescriptionLine, Resident, Station
from program.web.doors import Door, Listed, Single
from program.web.fields import Input, Shown, VisibleField


class LineShown(Shown):
    class Meta:
        model = PrescriptionLine
        fields = [
            *("id", "position", "station", "exercise", "load", "load_unit", "load_kg", "repetitions_least"),
            *("repetitions_most", "pace", "seconds_least", "seconds_most", "turns", "range_limits", "settings"),
        ]


class PrescriptionShown(Shown):
    lines = LineShown(many=True)

    class Meta:
        model = Prescription
        fields = ["id", "building", "resident", "number", "sessions_a_week", "entered_by", "entered_at", "lines"]


class PrescriptionLineInput(Input):
    """The load in the station's own unit; without an exercise it is the station's usual one."""

    station = VisibleField(queryset=Station.objects)
    load = serializers.DecimalField(max_digits=7, decimal_places=3, min_value=0)
    load_unit = serializers.ChoiceField(LoadUnit.choices)
    exercise = serializers.CharField(max_length=60, required=False, allow_blank=True)
    repetitions_least = serializers.IntegerField(min_value=1, max_value=30, required=False)
    repetitions_most = serializers.IntegerField(min_value=1, max_value=30, required=False)
    pace = serializers.CharField(max_length=60, required=False)
    seconds_least = serializers.IntegerField(min_value=10, max_value=600, required=False)
    seconds_most = serializers.IntegerField(min_value=10, max_value=600, required=False)
    turns = serializers.IntegerField(min_value=1, max_value=5, required=False)
    range_limits = serializers.CharField(max_length=120, required=False, allow_blank=True)
    settings = serializers.CharField(max_length=120, required=False, allow_blank=True)


class PrescriptionInput(Input):
    """`expected_number` is the version that this one follows: 0 where there is none yet."""

    resident = VisibleField(queryset=Resident.objects)
    expected_number = serializers.IntegerField(min_value=0, max_value=1_000_000)
    sessions_a_week = serializers.IntegerField(min_value=1, max_value=3)
    lines = serializers.ListField(child=PrescriptionLineInput(), min_length=1, max_length=MOST_LINES)


class PrescriptionFilters(OfResidentFilters):
    in_force = filters.BooleanFilter(method="only_in_force", label="Only the newest version of each resident.")

    def only_in_force(self, found: QuerySet[Any], name: str, is_wanted: bool) -> QuerySet[Any]:
        newest = Prescription.objects.visible_to(self.request.user).in_force().values("pk")
        return found.filter(pk__in=newest) if is_wanted else found.exclude(pk__in=newest)


class PrescriptionDoor(Listed, Single, Door):
    model = Prescription
    together = ("lines",)
    reads = PrescriptionShown
    shows = "exercise plan"
    inputs = {"create": PrescriptionInput}
    filterset_class = PrescriptionFilters
    rights = {"list": "see residents", "retrieve": "see residents", "create": "prescribe"}

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["resident"].building)
        lines = [LineInput(**line) for line in sent.pop("lines")]
        return self.answer(prescribe(by=request.user, lines=lines, **sent))
