"""Sessions: read, written about, given up and withdrawn. Booking and moving is judged where the plan is made."""

from collections.abc import Sequence
from typing import Any

from django.db.models import Prefetch, QuerySet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from program.actions import records
from program.actions.incidents import report_warning_sign
from program.actions.sessions import give_up_sessions, withdraw_sessions
from program.actions.starting import readiness_of, start_session
from program.actions.unplanned import write_unplanned
from program.actions.wrong_resident import move_to_right_resident
from program.api.incidents import IncidentShown
from program.api.safety import OfResidentFilters
from program.api.session_forms import (
    ReadinessShown,
    ReasonInput,
    RightResidentInput,
    SessionShown,
    StartInput,
    TakenBackInput,
    UnplannedInput,
    WarningSignInput,
    WrittenInput,
)
from program.models import Session, Slot, Station
from program.rules.week import Week
from program.web.doors import Door, Listed, Single, by_the_clock_of
from program.web.filtering import InstantFilter, WeekFilter
from program.web.problems import Problem
from program.web.viewing import viewed


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
        "start": StartInput,
        "records": WrittenInput,
        "warning_sign": WarningSignInput,
        "unplanned": UnplannedInput,
        "move_to_resident": RightResidentInput,
        "take_back": TakenBackInput,
    }
    filterset_class = SessionFilters
    answers = {"readiness": ReadinessShown, "warning_sign": IncidentShown}
    statuses = {"unplanned": 201, "warning_sign": 201}
    rights = {
        "list": "see residents",
        "retrieve": "see residents",
        "withdraw": "plan sessions",
        "give_up": "record sessions",
        "readiness": "see residents",
        "start": "record sessions",
        "records": "record sessions",
        "warning_sign": "record sessions",
        "unplanned": "record sessions",
        "move_to_resident": "correct records",
        "take_back": "correct records",
    }
    # Not “start” nor “records”: what happens is added, whatever has become of the plan meanwhile.
    names_version = frozenset({"withdraw", "give_up", "move_to_resident", "take_back"})

    def get_queryset(self) -> QuerySet[Any]:
        found = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return found
        slots = Slot.objects.visible_to(self.request.user).select_related("station", "building")
        return found.prefetch_related(Prefetch("slots", slots))

    def context_for(self, rows: Sequence[Any]) -> dict[str, Any]:
        left_out = {pk for row in rows if isinstance(row, Session) for pk in row.left_out}
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
        return self.answer(records.write_lines(session=self.found(), **self._written(self.taken())))

    @action(detail=True, methods=["get"])
    def readiness(self, request: Request, pk: int) -> Response:
        """Everything that is missing before the session may be started, and what should be thought of."""
        session = self.found()
        ready = readiness_of(session=session)
        viewed(request, "session", [session.resident, *ready.similar])
        told = {
            "can_start": not ready.missing,
            "missing": [{"rule": one.rule, "sentence": one.sentence} for one in ready.missing],
            "allowed_from": ready.allowed_from,
            "warnings": list(ready.warnings),
            "similar": [resident.pk for resident in ready.similar],
        }
        return Response(by_the_clock_of(session.building.zone, told))

    @action(detail=True, methods=["post"])
    def start(self, request: Request, pk: int) -> Response:
        """Judged by safety alone; refused with everything that is missing, and from when it may be started."""
        return self.answer(start_session(session=self.found(), by=request.user, **self.taken()))

    @action(detail=True, methods=["post"], url_path="warning-sign")
    def warning_sign(self, request: Request, pk: int) -> Response:
        """Ends the session, opens an incident and sets an exercise hold; the answer is the incident."""
        session, sent = self.found(), self.taken()
        done_by = sent.pop("done_by", request.user)
        return self.answer(report_warning_sign(session=session, done_by=done_by, entered_by=request.user, **sent))

    @action(detail=False, methods=["post"])
    def unplanned(self, request: Request) -> Response:
        sent = self.taken()
        self.allow(sent["resident"].building)
        planned = {name: sent[name] for name in ("resident", "starts_at", "ends_at")}
        return self.answer(write_unplanned(**planned, **self._written(sent)))

    @action(detail=True, methods=["post"], url_path="move-to-resident")
    def move_to_resident(self, request: Request, pk: int) -> Response:
        """What was written for the wrong resident; the answer is the session it was taken from."""
        session, sent = self.found(), self.taken()
        self.allow(sent["session"].building)
        moved = move_to_right_resident(session=session, to=sent["session"], because=sent["because"], by=request.user)
        self.told([moved[1]])
        return self.answer(moved[0])

    @action(detail=True, methods=["post"], url_path="take-back")
    def take_back(self, request: Request, pk: int) -> Response:
        """What was written by mistake; both what stood there and why it went stay on record."""
        return self.answer(records.take_back_lines(session=self.found(), by=request.user, **self.taken()))

    def _written(self, sent: dict[str, Any]) -> dict[str, Any]:
        return {
            "lines": [records.NewLine(**line) for line in sent.get("lines", ())],
            "sets": [records.NewSet(**done) for done in sent.get("sets", ())],
            "done_by": sent.get("done_by", self.request.user),
            "entered_by": self.request.user,
            "sent_at": sent.get("sent_at"),
        }
