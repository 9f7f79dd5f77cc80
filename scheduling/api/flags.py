"""Flags: what a person must look at, and the times that would put it right."""

from typing import Any

from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.api.places import OfBuildingFilters
from program.models import Resident
from program.web.doors import Door, Listed, Single, by_the_clock_of
from program.web.fields import Input, Shown, VisibleField
from program.web.viewing import viewed
from scheduling.actions import Offer, offer_for
from scheduling.api.sessions import TimeShown, times_told
from scheduling.models import Flag


class FlagShown(Shown):
    class Meta:
        model = Flag
        fields = [
            *("id", "building", "kind", "cause", "sessions", "residents", "since", "due_at", "owner"),
            *("opened_at", "closed_at"),
        ]


class FlagFilters(OfBuildingFilters):
    kind = filters.ChoiceFilter(choices=Flag.Kind.choices)
    open = filters.BooleanFilter("closed_at", lookup_expr="isnull")


class RemedyQuery(Input):
    """Needed where a flag is about several residents."""

    resident = VisibleField(queryset=Resident.objects, required=False)


class MovingShown(TimeShown):
    """A time that is free once another session of the resident goes to `to`."""

    session = serializers.IntegerField(help_text="The one that moves.")
    to = TimeShown()


class RemediesShown(serializers.Serializer):
    """`session` is the one to move; none where one is booked. Without any time `why` says what is in the way."""

    resident = serializers.IntegerField()
    session = serializers.IntegerField(allow_null=True)
    week = serializers.CharField()
    keeps = TimeShown(many=True)
    moves = MovingShown(many=True)
    why = serializers.CharField(allow_blank=True)


class FlagDoor(Listed, Single, Door):
    model = Flag
    reads = FlagShown
    shows = "flag"
    answers = {"times": RemediesShown}
    filterset_class = FlagFilters
    rights = {"list": "see residents", "retrieve": "see residents", "times": "see residents"}
    query_names = {"times": RemedyQuery}

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        return [(row.building_id, resident) for resident in row.residents]

    @action(detail=True, methods=["get"], pagination_class=None)
    def times(self, request: Request, pk: int) -> Response:
        """Times that keep all rules: `keeps` leave the other sessions of the week, `moves` move one of them."""
        flag = self.found()
        offer = offer_for(flag=flag, **self.asked())
        viewed(request, "times", [offer.resident])
        return Response(by_the_clock_of(flag.building.zone, _told(offer)))


def _told(offer: Offer) -> dict[str, Any]:
    moves = offer.remedies.moves
    return {
        "resident": offer.resident.pk,
        "session": offer.session and offer.session.pk,
        "week": offer.week.name,
        "keeps": times_told(offer.remedies.keeps),
        "moves": [
            time | {"session": move.moves.key, "to": to}
            for move, time, to in zip(
                moves, times_told(move.time for move in moves), times_told(move.to for move in moves), strict=True
            )
        ],
        "why": offer.why,
    }
