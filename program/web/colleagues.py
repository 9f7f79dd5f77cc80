"""The people a person may know of: those with a role in the care of residents in the same buildings."""

from collections import defaultdict
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from program import clock
from program.models import Building, Role, User
from program.web.fields import NAMED_BY_NUMBER


def colleagues_of(user: User, building: Building | None = None) -> QuerySet[User]:
    """Of all the buildings of the person, or of one of them."""
    mine = Building.objects.visible_to(user)
    if building is not None:
        mine = mine.filter(pk=building.pk)
    held = Role.objects.in_care_at(clock.now())
    there = held.filter(Q(building__in=mine) | Q(region__in=mine.values("region")))
    return User.objects.filter(pk__in=there.values("user"))


def kinds_by_building(user: User) -> dict[int, list[str]]:
    """The kinds of role that the person holds now in each of their buildings, directly or through the region."""
    kinds: dict[int, set[str]] = defaultdict(set)
    held = list(Role.objects.held_at(clock.now()).filter(user=user))
    for building in Building.objects.visible_to(user):
        for role in held:
            if role.building_id == building.pk or (role.region_id and role.region_id == building.region_id):
                kinds[building.pk].add(role.kind)
    return {pk: sorted(found) for pk, found in kinds.items()}


class ColleagueField(serializers.PrimaryKeyRelatedField):
    """A person, if the asking one may know of them."""

    def __init__(self, **options: Any) -> None:
        super().__init__(queryset=User.objects.none(), error_messages=NAMED_BY_NUMBER, **options)

    def get_queryset(self) -> QuerySet[User]:
        return colleagues_of(self.context["request"].user)
