"""Sessions: read, written about, given up and withdrawn. Booking and moving is judged where the plan is made."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.db.models import Prefetch, QuerySet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions import records
from program.actions.sessions import give_up_sessions, withdraw_sessions
from program.api.safety import OfResidentFilters
from program.api.session_forms import ReasonInput, RightResidentInput, SessionShown, UnplannedInput, WrittenInput
from program.models import Session, Slot, Station
from program.rules.week import Week
from program.web.doors import Door, Listed, Single
from program.web.filtering import InstantFilter, WeekFilter
from program.web.problems import Problem


class SessionFilters(OfResidentFilters):
    week = WeekFilter(method="of_week", label="With a building: 2026-W49 by the clock there.")

    def of_week(self, found: QuerySet[Any], name: str, week: Week) -> QuerySet[Any]:
        building = self.form.cleaned_data.get("building")
        if building is None:
            raise Problem("invalid-filter", 400, "“week” needs a building, whose clock says when it begins. Name one.")
        return found.filter(starts_at__gte=week.starts_at(building.zone), starts_at__lt=week.ends_at(building.zone))


# “from” cannot be the name of an attribute.
SessionFilters.base_filters |= {
    "from": InstantFilter(field_name="starts_at", lookup_expr="gte"),
    "until": InstantFilter(field_name="starts_at", lookup_expr="lt"),
}


class SessionDoor(Listed, Single, Door):
    model = Session
    joins = ("building", "resident__building")
    reads = SessionShown
    shows = "session"
    inputs: dict[str, type[serializers.BaseSerializer]] = {
        "withdraw": ReasonInput,
        "give_up": ReasonInput,
        "records": WrittenInput,
        "unplanned": UnplannedInput,
        "move_to_resident": RightResidentInput,
    }
    filterset_class = SessionFilters
    statuses = {"unplanned": 201}
    rights = {
        "list": "see residents",
        "retrieve": "see residents",
        "withdraw": "plan sessions",
        "give_up": "record sessions",
        "records": "record sessions",
        "unplanned": "record sessions",
        "move_to_resident": "correct records",
    }
    # Not “records”: what happened is added, whatever has become of the plan meanwhile.
    names_version = frozenset({"withdraw", "give_up", "move_to_resident"})

    def get_queryset(self) -> QuerySet[Any]:
        found = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return found
        slots = Slot.objects.visible_to(self.request.user).select_related("station", "building")
        return found.prefetch_related(Prefetch("slots", slots))

    def context_for(self, rows: Sequence[Any]) -> dict[str, Any]:
        left_out = {pk for session in rows for pk in session.left_out}
        known = Station.objects.visible_to(self.request.user).filter(pk__in=left_out) if left_out else ()
        return {"station_names": {station.pk: station.name for station in known}}

    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: int) -> Response:
        session = self.found()
        return self.answer(withdraw_sessions(sessions=[session], by=request.user, **self.taken())[0])

    @action(detail=True, methods=["post"], url_path="give-up")
    def give_up(self, request: Request, pk: int) -> Response:
        session = self.found()
        return self.answer(give_up_sessions(sessions=[session], by=request.user, **self.taken())[0])

    @action(detail=True, methods=["post"])
    def records(self, request: Request, pk: int) -> Response:
        """Started, attempted, ended, and the sets."""
        return self.answer(self._write(self.found(), self.taken()))

    @action(detail=False, methods=["post"])
    def unplanned(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["resident"].building)
        planned = {name: sent.pop(name) for name in ("resident", "starts_at", "ends_at")}
        with transaction.atomic():
            return self.answer(self._write(records.open_unplanned_session(**planned), sent))

    @action(detail=True, methods=["post"], url_path="move-to-resident")
    def move_to_resident(self, request: Request, pk: int) -> Response:
        """What was written for the wrong resident; the answer is the session it was taken from."""
        session, sent = self.found(), self.taken()
        self.allow(sent["session"].building)
        moved = records.move_to_right_resident(
            session=session, to=sent["session"], because=sent["because"], by=request.user
        )
        self.told([moved[1]])
        return self.answer(moved[0])

    def _write(self, session: Session, sent: dict[str, Any]) -> Session:
        return records.write_lines(
            session=session,
            lines=[records.NewLine(**line) for line in sent.get("lines", ())],
            sets=[records.NewSet(**done) for done in sent.get("sets", ())],
            done_by=sent.get("done_by", self.request.user),
            entered_by=self.request.user,
        )
