"""Buildings and what belongs to them: units, hours, stations, closures."""

from typing import Any

from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions import places
from program.models import Building, Closure, Hours, LoadUnit, Station, Unit
from program.web.doors import Door, Listed, Single
from program.web.fields import Change, Input, InstantField, Shown, VisibleField
from program.web.filtering import VisibleFilter


class OfBuildingFilters(filters.FilterSet):
    building = VisibleFilter(Building.objects)


class BuildingShown(Shown):
    class Meta:
        model = Building
        fields = [
            *("id", "version", "name", "timezone", "turn_minutes", "rest_after_meal_minutes", "margin_minutes"),
            *("grace_minutes", "overdue_hours", "buffer_turns", "max_wait_turns", "skips_closed_stations"),
        ]


class BuildingChange(Change):
    rest_after_meal_minutes = serializers.IntegerField(min_value=0, max_value=240)
    margin_minutes = serializers.IntegerField(min_value=0, max_value=240)
    grace_minutes = serializers.IntegerField(min_value=0, max_value=240)
    overdue_hours = serializers.IntegerField(min_value=48, max_value=1000)
    buffer_turns = serializers.IntegerField(min_value=0, max_value=10)
    max_wait_turns = serializers.IntegerField(min_value=0, max_value=1)
    skips_closed_stations = serializers.BooleanField()


class BuildingDoor(Listed, Single, Door):
    model = Building
    joins = ()
    reads = BuildingShown
    inputs = {"partial_update": BuildingChange}
    rights = {"list": "see this building", "retrieve": "see this building", "partial_update": "change places"}
    names_version = frozenset({"partial_update"})

    def partial_update(self, request: Request, pk: int) -> Response:
        building = self.found()
        return self.answer(places.change_building(building=building, version=building.version, **self.taken()))


class UnitShown(Shown):
    class Meta:
        model = Unit
        fields = ["id", "building", "name"]


class UnitInput(Input):
    building = VisibleField(queryset=Building.objects)
    name = serializers.CharField(max_length=80)


class UnitDoor(Listed, Single, Door):
    model = Unit
    reads = UnitShown
    inputs = {"create": UnitInput}
    filterset_class = OfBuildingFilters
    rights = {"list": "see this building", "retrieve": "see this building", "create": "change places"}

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["building"])
        return self.answer(places.add_unit(**sent))


class HoursShown(Shown):
    class Meta:
        model = Hours
        fields = ["id", "version", "building", "kind", "unit", "name", "weekday", "starts_minute", "ends_minute"]


class HoursInput(Input):
    """A weekly period in minutes after local midnight; weekdays from 0, Monday, to 6, Sunday."""

    building = VisibleField(queryset=Building.objects)
    kind = serializers.ChoiceField(Hours.Kind.choices)
    unit = VisibleField(queryset=Unit.objects, required=False, allow_null=True)
    name = serializers.CharField(max_length=40, required=False, allow_blank=True)
    weekday = serializers.IntegerField(min_value=0, max_value=6)
    starts_minute = serializers.IntegerField(min_value=0, max_value=1439)
    ends_minute = serializers.IntegerField(min_value=1, max_value=1440)


class HoursFilters(OfBuildingFilters):
    kind = filters.ChoiceFilter(choices=Hours.Kind.choices)


class HoursDoor(Listed, Single, Door):
    model = Hours
    reads = HoursShown
    inputs = {"create": HoursInput}
    filterset_class = HoursFilters
    rights = {
        "list": "see this building",
        "retrieve": "see this building",
        "create": "change places",
        "destroy": "change places",
    }
    names_version = frozenset({"destroy"})

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["building"])
        return self.answer(places.add_hours(**sent))

    def destroy(self, request: Request, pk: int) -> Response:
        places.remove_hours(hours=self.found())
        return Response(status=204)


class StationShown(Shown):
    class Meta:
        model = Station
        fields = [
            *("id", "version", "building", "name", "exercise", "position", "load_unit", "load_step", "lightest"),
            *("heaviest", "retired_at"),
        ]


class StationChange(Change):
    name = serializers.CharField(max_length=60)
    exercise = serializers.CharField(max_length=60)
    position = serializers.IntegerField(min_value=0, max_value=1000)
    load_unit = serializers.ChoiceField(LoadUnit.choices)
    load_step = serializers.DecimalField(max_digits=7, decimal_places=3)
    lightest = serializers.DecimalField(max_digits=7, decimal_places=3, required=False)
    heaviest = serializers.DecimalField(max_digits=7, decimal_places=3, required=False, allow_null=True)


class StationInput(StationChange):
    building = VisibleField(queryset=Building.objects)


class StationDoor(Listed, Single, Door):
    model = Station
    reads = StationShown
    inputs = {"create": StationInput, "partial_update": StationChange}
    filterset_class = OfBuildingFilters
    rights = {
        "list": "see this building",
        "retrieve": "see this building",
        "create": "change places",
        "partial_update": "change places",
    }
    names_version = frozenset({"partial_update"})

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["building"])
        return self.answer(places.add_station(**sent))

    def partial_update(self, request: Request, pk: int) -> Response:
        station = self.found()
        return self.answer(places.change_station(station=station, version=station.version, **self.taken()))


class ClosureShown(Shown):
    class Meta:
        model = Closure
        fields = [
            *("id", "version", "building", "unit", "station", "reason", "note", "starts_at", "ends_at", "entered_by"),
            "entered_at",
        ]


class ClosureInput(Input):
    """Of a station, a unit, or neither: the whole building. Without an end it lasts until somebody ends it."""

    building = VisibleField(queryset=Building.objects)
    unit = VisibleField(queryset=Unit.objects, required=False, allow_null=True)
    station = VisibleField(queryset=Station.objects, required=False, allow_null=True)
    reason = serializers.ChoiceField(Closure.Reason.choices)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    starts_at = InstantField()
    ends_at = InstantField(required=False, allow_null=True)


class ClosureEnd(Input):
    """Now, if no time is given."""

    ends_at = InstantField(required=False)


class ClosureFilters(OfBuildingFilters):
    station = VisibleFilter(Station.objects)
    unit = VisibleFilter(Unit.objects)


class ClosureDoor(Listed, Single, Door):
    model = Closure
    reads = ClosureShown
    inputs = {"create": ClosureInput, "end": ClosureEnd}
    filterset_class = ClosureFilters
    rights = {
        "list": "see this building",
        "retrieve": "see this building",
        "create": "report a closure",
        "end": "report a closure",
    }
    names_version = frozenset({"end"})

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self._allow(sent["building"], sent.get("station"))
        return self.answer(places.close(by=request.user, **sent))

    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: int) -> Response:
        closure = self.found()
        self._allow(closure.building, closure.station)
        return self.answer(places.end_closure(closure=closure, version=closure.version, **self.taken()))

    def _allow(self, building: Building, station: Any) -> None:
        # Whoever stands at a station may say that it is broken; a unit or the building is closed by who plans.
        self.allow(building, None if station else "change places")
