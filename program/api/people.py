"""Who I am, who works here, and the shifts on the circuit."""

from typing import Any

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program import access
from program.actions import shifts
from program.api.places import OfBuildingFilters
from program.models import Building, Shift, User
from program.web.colleagues import ColleagueField, colleagues_of, kinds_by_building
from program.web.doors import SIGNED_IN, Door, Listed, Single
from program.web.fields import Input, Shown, VisibleField
from program.web.filtering import VisibleFilter


class MyBuilding(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    timezone = serializers.CharField()
    kinds = serializers.ListField(child=serializers.CharField())


class MeShown(serializers.Serializer):
    id = serializers.IntegerField()
    username = serializers.CharField()
    name = serializers.CharField()
    is_administrator = serializers.BooleanField()
    buildings = MyBuilding(many=True)


class MeDoor(Door):
    model = User
    reads = MeShown
    rights = {"show": SIGNED_IN}
    pagination_class = None

    def show(self, request: Request) -> Response:
        """Who is signed in, and the kinds of role they hold in which buildings now."""
        user = request.user
        kinds = kinds_by_building(user)
        buildings = [
            {"id": building.pk, "name": building.name, "timezone": building.timezone, "kinds": kinds[building.pk]}
            for building in Building.objects.visible_to(user).order_by("name")
        ]
        me = {"id": user.pk, "username": user.username, "name": user.name, "buildings": buildings}
        return Response(MeShown(me | {"is_administrator": access.is_administrator(user)}).data)


class PersonShown(Shown):
    class Meta:
        model = User
        fields = ["id", "name"]


class PeopleFilters(filters.FilterSet):
    building = VisibleFilter(Building.objects, method="of_building")

    def of_building(self, people: QuerySet[Any], name: str, building: Building) -> QuerySet[Any]:
        return people & colleagues_of(self.request.user, building)


class PeopleDoor(Listed, Door):
    model = User
    reads = PersonShown
    filterset_class = PeopleFilters
    rights = {"list": "see this building"}

    def get_queryset(self) -> QuerySet[Any]:
        if getattr(self, "swagger_fake_view", False):
            return super().get_queryset()
        return colleagues_of(self.request.user)


class ShiftShown(Shown):
    class Meta:
        model = Shift
        fields = [
            *("id", "version", "building", "user", "first_on", "last_on", "starts_minute", "ends_minute", "made_until"),
        ]


class ShiftInput(Input):
    """Every week on the weekday of the first day; minutes after local midnight."""

    building = VisibleField(queryset=Building.objects)
    user = ColleagueField()
    first_on = serializers.DateField()
    last_on = serializers.DateField(required=False, allow_null=True)
    starts_minute = serializers.IntegerField(min_value=0, max_value=1439)
    ends_minute = serializers.IntegerField(min_value=1, max_value=1440)


class ShiftChange(Input):
    """Other hours from a day on: the shift as it was ends the day before."""

    from_on = serializers.DateField()
    starts_minute = serializers.IntegerField(min_value=0, max_value=1439)
    ends_minute = serializers.IntegerField(min_value=1, max_value=1440)


class ShiftEnd(Input):
    last_on = serializers.DateField()


class ShiftDoor(Listed, Single, Door):
    model = Shift
    reads = ShiftShown
    inputs = {"create": ShiftInput, "change": ShiftChange, "end": ShiftEnd}
    filterset_class = OfBuildingFilters
    rights = {
        "list": "see this building",
        "retrieve": "see this building",
        "create": "change shifts",
        "change": "change shifts",
        "end": "change shifts",
    }
    names_version = frozenset({"change", "end"})

    def create(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["building"])
        return self.answer(shifts.add_shift(by=request.user, **sent))

    @action(detail=True, methods=["post"])
    def change(self, request: Request, pk: int) -> Response:
        """The answer is the shift that holds from the day on: another one, or the same where it had not begun."""
        shift = self.found()
        return self.answer(shifts.change_shift(shift=shift, by=request.user, version=shift.version, **self.taken()))

    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: int) -> Response:
        shift = self.found()
        return self.answer(shifts.end_shift(shift=shift, by=request.user, version=shift.version, **self.taken()))
