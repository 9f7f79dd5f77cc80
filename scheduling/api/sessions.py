"""Booking and moving one session, and the times that keep all rules."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.api.sessions import SessionDoor
from program.models import Resident, Session
from program.web.doors import Door, by_the_clock_of
from program.web.fields import Input, InstantField, VisibleField, WeekField
from program.web.viewing import viewed
from scheduling.actions import book_session, judge_time, move_session, next_allowed, times_of
from scheduling.times import Allowed


class BookInput(Input):
    resident = VisibleField(queryset=Resident.objects)
    starts_at = InstantField()


class MoveInput(Input):
    starts_at = InstantField()


class PlannedSessionDoor(SessionDoor):
    """Sessions with what takes the plan of the week to judge."""

    inputs = SessionDoor.inputs | {"create": BookInput, "move": MoveInput}
    rights = SessionDoor.rights | {"create": "plan sessions", "move": "plan sessions"}
    names_version = SessionDoor.names_version | {"move"}

    def create(self, request: Request) -> Response:
        """Refused with the one rule that is in the way, and the next time that keeps all of them."""
        sent = self.taken()
        self.allow(sent["resident"].building)
        return self.answer(book_session(by=request.user, **sent))

    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: int) -> Response:
        session = self.found()
        return self.answer(move_session(session=session, by=request.user, version=session.version, **self.taken()))


class TimesQuery(Input):
    """A week lists every time that keeps all rules; a start is judged. `session` is one that is to be moved."""

    week = WeekField(required=False)
    starts_at = InstantField(required=False)
    session = VisibleField(queryset=Session.objects, required=False)

    def validate(self, sent: dict[str, Any]) -> dict[str, Any]:
        if ("week" in sent) == ("starts_at" in sent):
            raise serializers.ValidationError("Ask either for a week or for one start.")
        return sent


class PlaceShown(serializers.Serializer):
    station = serializers.CharField(help_text="Its name.")
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()


class TimeShown(serializers.Serializer):
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    slots = PlaceShown(many=True)


class TimesShown(serializers.Serializer):
    """For one start also whether it is allowed; if not, the one rule that refuses it and the next time that is."""

    times = TimeShown(many=True)
    allowed = serializers.BooleanField(required=False)
    rule = serializers.CharField(required=False)
    sentence = serializers.CharField(required=False)
    allowed_from = serializers.DateTimeField(required=False, allow_null=True)


class TimesDoor(Door):
    model = Resident
    reads = TimesShown
    rights = {"show": "see residents"}
    query_names = {"show": TimesQuery}
    pagination_class = None

    def show(self, request: Request, pk: int) -> Response:
        resident, asked = self.found(), self.asked()
        session = asked.get("session")
        if session is not None and session.resident_id != resident.pk:
            raise serializers.ValidationError({"session": "That session is not one of this resident."})
        if "week" in asked:
            told = {"times": times_told(times_of(resident=resident, week=asked["week"], session=session))}
        else:
            told = self._judged(resident, asked["starts_at"], session)
        viewed(request, "times", [resident])
        return Response(by_the_clock_of(resident.building.zone, told))

    def _judged(self, resident: Resident, starts_at: datetime, session: Session | None) -> dict[str, Any]:
        judged = judge_time(resident=resident, starts_at=starts_at, session=session)
        if isinstance(judged, Allowed):
            return {"allowed": True, "times": times_told([judged])}
        return {
            "allowed": False,
            "rule": judged.code,
            "sentence": judged.sentence,
            "allowed_from": next_allowed(resident=resident, after=starts_at, session=session),
            "times": [],
        }


def times_told(times: Iterable[Allowed]) -> list[dict[str, Any]]:
    return [
        {
            "starts_at": time.start,
            "ends_at": time.end,
            "slots": [{"station": slot.station, "starts_at": slot.start, "ends_at": slot.end} for slot in time.slots],
        }
        for time in times
    ]
