"""Rosters: asked for, watched while they are built, compared with what is published, and published."""

from typing import Any

from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.api.places import OfBuildingFilters
from program.models import Building
from program.rules.errors import Refused
from program.rules.week import Week
from program.web.doors import Door, Listed, Single, by_the_clock_of
from program.web.fields import Input, Shown, VisibleField, WeekField
from program.web.filtering import WeekFilter
from program.web.versions import etag_of
from program.web.viewing import note_viewed
from scheduling.actions import Comparison, compare, publish_roster
from scheduling.api.sessions import TimeShown
from scheduling.models import Roster
from scheduling.problem import PlacedSession
from scheduling.tasks import request_roster

SHORT = (
    *("id", "version", "building", "week", "state", "seconds", "asked_by", "asked_at", "started_at", "built_at"),
    *("published_at", "published_by", "progress", "failure"),
)


class RosterShown(Shown):
    """While it is built, `progress` tells the best so far."""

    week = serializers.SerializerMethodField()

    class Meta:
        model = Roster
        fields = SHORT

    def get_week(self, roster: Roster) -> str:
        return Week(roster.monday).name


class RosterWhole(RosterShown):
    """With the answer in the format roster/1; residents in it are named by their numbers."""

    class Meta:
        model = Roster
        fields = (*SHORT, "answer")


class RosterInput(Input):
    building = VisibleField(queryset=Building.objects)
    week = WeekField()
    seconds = serializers.IntegerField(min_value=1, max_value=120, required=False)


class PublishInput(Input):
    """`without` leaves out sessions by their place in the answer: 0 is the first."""

    without = serializers.ListField(child=serializers.IntegerField(min_value=0), max_length=2000, required=False)


class PlacedShown(TimeShown):
    """`would_move` names the commitments that can move and that this session lies over."""

    resident = serializers.IntegerField()
    would_move = serializers.ListField(child=serializers.CharField())


class StandingShown(serializers.Serializer):
    session = serializers.IntegerField()
    resident = serializers.IntegerField()
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()


class MovedShown(StandingShown):
    to = PlacedShown()


class ComparisonShown(serializers.Serializer):
    kept = StandingShown(many=True)
    new = PlacedShown(many=True)
    moved = MovedShown(many=True)
    withdrawn = StandingShown(many=True)


class PublishedShown(serializers.Serializer):
    """The numbers of the sessions that this booked, moved and withdrew."""

    roster = RosterShown()
    booked = serializers.ListField(child=serializers.IntegerField())
    moved = serializers.ListField(child=serializers.IntegerField())
    withdrawn = serializers.ListField(child=serializers.IntegerField())


class RosterFilters(OfBuildingFilters):
    state = filters.ChoiceFilter(choices=Roster.State.choices)
    week = WeekFilter(method="of_week", label="Like 2026-W49.")

    def of_week(self, found: Any, name: str, week: Week) -> Any:
        return found.filter(monday=week.monday)


class RosterDoor(Listed, Single, Door):
    model = Roster
    reads = RosterShown
    shows = "roster"
    inputs = {"create": RosterInput, "publish": PublishInput}
    answers = {"retrieve": RosterWhole, "compare": ComparisonShown, "publish": PublishedShown}
    # Accepted, not done: a worker builds it.
    statuses = {"create": 202}
    filterset_class = RosterFilters
    rights = {
        "list": "see this building",
        "retrieve": "see residents",
        "create": "plan sessions",
        "compare": "see residents",
        "publish": "plan sessions",
    }
    names_version = frozenset({"publish"})

    def get_queryset(self) -> Any:
        rosters = super().get_queryset().defer("problem")
        return rosters.defer("problem", "answer") if self.action == "list" else rosters

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        if self.action != "retrieve" or row.answer is None:
            return []
        told = [*row.answer.get("sessions", ()), *row.answer.get("unplaced", ())]
        return [(row.building_id, int(one["resident"])) for one in told]

    def create(self, request: Request) -> Response:
        """Its row tells how far it is: ask for it again at the address in Location."""
        sent = self.taken()
        self.allow(sent["building"])
        return self.answer(request_roster(by=request.user, **sent))

    @action(detail=True, methods=["get"])
    def compare(self, request: Request, pk: int) -> Response:
        """What publishing it would do, as things stand now."""
        roster = self.found()
        if roster.answer is None:
            raise Refused("This roster has not been built yet. Wait for it.", problem="roster-not-draft")
        told = _told(compare(roster=roster))
        residents = {one["resident"] for part in told.values() for one in part}
        note_viewed(request, "roster", ((roster.building_id, resident) for resident in residents))
        return Response(by_the_clock_of(roster.building.zone, told), headers={"ETag": etag_of(roster)})

    @action(detail=True, methods=["post"])
    def publish(self, request: Request, pk: int) -> Response:
        """All of it in one transaction; or nothing, and every session that stands in the way by its place."""
        roster = self.found()
        published = publish_roster(roster=roster, by=request.user, version=roster.version, **self.taken())
        booked, moved, withdrawn = (
            [session.pk for session in sessions]
            for sessions in (published.booked, published.moved, published.withdrawn)
        )
        told = {"roster": published.roster, "booked": booked, "moved": moved, "withdrawn": withdrawn}
        return Response(PublishedShown(told).data, headers={"ETag": etag_of(published.roster)})


def _told(comparison: Comparison) -> dict[str, list[dict[str, Any]]]:
    return {
        "kept": [_standing(session) for session in comparison.kept],
        "new": [_placed(place, comparison) for place in comparison.new],
        "moved": [_standing(session) | {"to": _placed(place, comparison)} for session, place in comparison.moved],
        "withdrawn": [_standing(session) for session in comparison.withdrawn],
    }


def _standing(session: Any) -> dict[str, Any]:
    return {
        "session": session.pk,
        "resident": session.resident_id,
        "starts_at": session.starts_at,
        "ends_at": session.ends_at,
    }


def _placed(place: PlacedSession, comparison: Comparison) -> dict[str, Any]:
    return {
        "resident": int(place.resident),
        "starts_at": place.start,
        "ends_at": place.end,
        "slots": [{"station": slot.station, "starts_at": slot.start, "ends_at": slot.end} for slot in place.slots],
        "would_move": list(comparison.would_move.get(place, ())),
    }
