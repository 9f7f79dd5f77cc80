"""Moving, withdrawing and offering one session: every allowed time a button, any other answered with a sentence."""

from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from program.access import require
from program.actions.sessions import withdraw_sessions
from program.models import Building, Resident, Session
from program.rules.errors import Refused, Stale
from program.rules.reasons import CLASS_OF
from program.rules.week import Week, date_and_time
from program.web.forms import EditForm, FormPage, MomentInput, PlainForm, answer_form, what_is_wrong
from program.web.frame import building_here, local_now, this_week, week_asked
from program.web.scope import status_of
from program.web.standing import standing_of, with_standing
from program.web.viewing import viewed
from scheduling.actions import book_session, move_session, times_of
from scheduling.times import Allowed

NOON = 12


@dataclass(frozen=True, slots=True)
class DayOfTimes:
    day: date
    morning: list[Allowed]
    afternoon: list[Allowed]
    is_open: bool

    @property
    def count(self) -> int:
        return len(self.morning) + len(self.afternoon)

    @property
    def halves(self) -> list[tuple[str, list[Allowed]]]:
        return [("Morning", self.morning), ("Afternoon", self.afternoon)]


class TimeForm(PlainForm):
    """A time of one's own choice, or the one on a button; both are the building's clock."""

    starts_at = forms.DateTimeField(label="Day and time", widget=MomentInput())


class MoveForm(TimeForm, EditForm):
    pass


class WithdrawForm(EditForm):
    reason = forms.ChoiceField(choices=[(reason, reason) for reason in CLASS_OF])
    note = forms.CharField(max_length=300, required=False)


def _session(request: HttpRequest, building_id: int, session_id: int) -> tuple[Building, Session]:
    """The session of this address, for somebody who may plan."""
    building = building_here(request, building_id)
    found = Session.objects.visible_to(request.user).of(building).select_related("resident__unit", "building")
    session = get_object_or_404(found, pk=session_id)
    require(request.user, "plan sessions", building)
    viewed(request, "session", [session.resident])
    return building, session


@require_http_methods(["GET", "POST"])
def move(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    building, session = _session(request, building_id, session_id)
    here = Week.of(session.starts_at, building.zone)
    week = week_asked(request, max(here, this_week(building)))
    form = MoveForm(request.POST or None, initial={"version": session.version, "starts_at": _local(session)})
    was = date_and_time(session.starts_at, building.zone)
    context = {"session": session, "resident": session.resident, "was": was, "verb": "Move to"}

    def act(starts_at: datetime) -> str:
        is_offered = _is_offered(session.resident, starts_at, session)
        moved = move_session(
            session=session, starts_at=starts_at, by=request.user, version=form.cleaned_data["version"]
        )
        return f"Moved from {was} to {date_and_time(moved.starts_at, building.zone)}.{_told(building, is_offered)}"

    return _choose(request, building, form, week, context, act)


@require_http_methods(["GET", "POST"])
def times(request: HttpRequest, building_id: int, resident_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    residents = with_standing(Resident.objects.visible_to(request.user).of(building), building)
    resident = get_object_or_404(residents.select_related("unit", "building"), pk=resident_id)
    require(request.user, "plan sessions", building)
    viewed(request, "times", [resident])
    week = week_asked(request, this_week(building))
    form = TimeForm(request.POST or None)
    standing = standing_of(resident, local_now(building).date())

    def act(starts_at: datetime) -> str:
        is_offered = _is_offered(resident, starts_at, None)
        booked = book_session(resident=resident, starts_at=starts_at, by=request.user)
        return f"Booked {date_and_time(booked.starts_at, building.zone)}.{_told(building, is_offered)}"

    return _choose(request, building, form, week, {"resident": resident, "verb": "Book", "standing": standing}, act)


def _choose(
    request: HttpRequest, building: Building, form: forms.Form, week: Week, context: dict[str, Any], act: Any
) -> HttpResponse:
    status = 200
    if request.method == "POST":
        if not form.is_valid():
            context["refusal"], status = what_is_wrong(form), 422
        else:
            try:
                with transaction.atomic():
                    messages.success(request, act(form.cleaned_data["starts_at"]))
                return redirect(_after(request, building, context, form.cleaned_data["starts_at"]))
            except Refused as refusal:
                context |= _said(refusal, building)
                status = status_of(refusal)
    session = context.get("session")
    if session is not None:
        session.refresh_from_db()
        if form.is_bound:
            form.data = form.data.copy()
            form.data["version"] = session.version
    found = times_of(resident=context["resident"], week=week, session=session)
    if session is not None:
        found = [one for one in found if one.start != session.starts_at]
    around = session.starts_at.astimezone(building.zone).date() if session else None
    context |= {
        "form": form,
        "week": week,
        "days": _by_day(found, building, around),
        "back": _after(request, building, context, session.starts_at if session else None),
    }
    return render(request, "scheduling/times.html", context, status=status)


def _after(request: HttpRequest, building: Building, context: dict[str, Any], moment: datetime | None) -> str:
    """Back to the day of the session, or to the resident whose times were offered."""
    if context.get("session") is None or moment is None:
        return reverse("program:resident", args=[building.pk, context["resident"].pk])
    return reverse("scheduling:day", args=[building.pk, moment.astimezone(building.zone).date().isoformat()])


def _said(refusal: Refused, building: Building) -> dict[str, Any]:
    said = {"refusal": refusal.sentence}
    if isinstance(refusal, Stale):
        said["changes"] = ["What stands below is the session as it is now."]
    elif allowed_from := refusal.details.get("allowed_from"):
        said["changes"] = [f"The next time that keeps all rules is {date_and_time(allowed_from, building.zone)}."]
    return said


def _by_day(found: list[Allowed], building: Building, around: date | None) -> list[DayOfTimes]:
    """The day of the session, or the first one, stands open."""
    days = [
        (day, list(those)) for day, those in groupby(found, key=lambda one: one.start.astimezone(building.zone).date())
    ]
    shown = around if around in dict(days) else (days[0][0] if days else None)
    return [
        DayOfTimes(
            day,
            [one for one in those if one.start.astimezone(building.zone).hour < NOON],
            [one for one in those if one.start.astimezone(building.zone).hour >= NOON],
            is_open=day == shown,
        )
        for day, those in days
    ]


def _is_offered(resident: Resident, starts_at: datetime, session: Session | None) -> bool:
    """Whether the time also keeps the planning buffer, as every offered one does."""
    week = Week.of(starts_at, resident.building.zone)
    return any(one.start == starts_at for one in times_of(resident=resident, week=week, session=session))


def _told(building: Building, is_offered: bool) -> str:
    if is_offered:
        return ""
    minutes = building.buffer_turns * building.turn_minutes
    return f" It lies inside the planning buffer of {minutes} minutes: ending late would make it too soon."


def _local(session: Session) -> datetime:
    return session.starts_at.astimezone(session.building.zone)


@require_http_methods(["GET", "POST"])
def withdraw(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    building, session = _session(request, building_id, session_id)
    day = session.starts_at.astimezone(building.zone).date().isoformat()
    page = FormPage(
        f"Withdraw {session.resident.name}, {date_and_time(session.starts_at, building.zone)}",
        "Withdraw the session",
        reverse("scheduling:day", args=[building.pk, day]),
        lede="It is taken off the plan. The reason stays with it.",
        more={"row": session},
    )

    def act(fields: dict[str, Any]) -> None:
        if fields["version"] != session.version:
            raise Stale("This session has changed since you looked. See it again.", current_version=session.version)
        withdraw_sessions(sessions=[session], reason=fields["reason"], note=fields["note"], by=request.user)

    form = WithdrawForm(request.POST or None, initial={"version": session.version, "reason": "other"})
    return answer_form(request, form, page, act, "The session is withdrawn.")
