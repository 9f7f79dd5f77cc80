"""The page of one session in the state that it is in: before the start, at the stations, or over."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from program import clock
from program.actions.starting import readiness_of
from program.models import Incident, Session, Set, Station
from program.pages.recording_forms import (
    ENDED_BY_US,
    ENOUGH,
    WHY,
    AttemptForm,
    EndForm,
    GiveUpForm,
    SetForm,
    StartForm,
    WarningForm,
)
from program.pages.session_told import is_at_the_stations, is_of_today, lines_told, stations_of, with_sets
from program.pages.sessions_said import said
from program.rules.reasons import ASKED, RESIDENT, WARNING_SIGNS
from program.rules.states import State
from program.rules.week import clock_time, day_and_time
from program.web.frame import building_here
from program.web.viewing import viewed


def found(request: HttpRequest, building_id: int, session_id: int) -> Session:
    building = building_here(request, building_id)
    sessions = Session.objects.visible_to(request.user).of(building).select_related("resident__unit", "building")
    return get_object_or_404(sessions, pk=session_id)


def incidents_of(shown: Session) -> list[Incident]:
    return list(shown.incidents.select_related("seen_by").order_by("happened_at"))


def show(
    request: HttpRequest, shown: Session, *, status: int = 200, refusal: str = "", again: Form | None = None
) -> HttpResponse:
    """`again` is a refused form, shown with everything typed."""
    now = clock.now()
    sets = list(shown.sets.counting().select_related("station", "done_by", "entered_by").order_by("ended_at"))
    records = list(shown.records.counting().select_related("done_by", "entered_by"))
    incidents = incidents_of(shown)
    context: dict[str, Any] = {
        "session": shown,
        "resident": shown.resident,
        "said": said(shown, now),
        "incidents": incidents,
        "incidents_wait": any(incident.seen_at is None for incident in incidents),
        "refusal": refusal,
        "told": lines_told(shown, records, sets),
        "left_out": _names(request, shown),
        "signs": WARNING_SIGNS,
        "is_closed": now >= shown.day_closes_at,
        "warning_form": WarningForm(),
    }
    if is_at_the_stations(shown, now):
        context |= _at_the_stations(shown, sets, again)
    elif shown.state_at(now) is State.PUBLISHED:
        context |= _before(shown, again, now)
    else:
        context |= _after(shown, now)
    similar = context["ready"].similar if "ready" in context else ()
    viewed(request, "session", [shown.resident, *similar])
    return render(request, "program/session.html", context, status=status)


def show_signs(request: HttpRequest, shown: Session, form: Form, status: int = 200, refusal: str = "") -> HttpResponse:
    viewed(request, "session", [shown.resident])
    context = {"session": shown, "resident": shown.resident, "warning_form": form, "signs": WARNING_SIGNS}
    return render(request, "program/session_warning.html", context | {"refusal": refusal}, status=status)


def _before(shown: Session, again: Form | None, now: datetime) -> dict[str, Any]:
    ready = readiness_of(session=shown)
    zone = shown.building.zone
    is_today = is_of_today(shown, now)

    def from_when(moment: datetime | None) -> str:
        if moment is None:
            return ""
        is_near = moment.astimezone(zone).date() == now.astimezone(zone).date()
        return f"from {clock_time(moment, zone) if is_near else day_and_time(moment, zone)}"

    return {
        "part": "before",
        "ready": ready,
        "missing": [(one.sentence, from_when(one.allowed_from)) for one in ready.missing],
        "start_form": again if isinstance(again, StartForm) else StartForm(resident=shown.resident),
        "attempt_form": AttemptForm(),
        "attempt_reasons": ASKED[RESIDENT],
        "give_up_form": again if isinstance(again, GiveUpForm) else GiveUpForm(),
        "why": WHY,
        "is_today": is_today,
        "may_warn": is_today,
    }


def _at_the_stations(shown: Session, sets: Sequence[Set], again: Form | None) -> dict[str, Any]:
    stations = with_sets(stations_of(shown), sets)
    refused = again if isinstance(again, SetForm) else None
    for number, one in enumerate(stations):
        if one.line is not None:
            is_refused = refused is not None and refused.number == number
            one.form = refused if is_refused else SetForm(at=one, number=number)
    waiting = [number for number, one in enumerate(stations) if one.is_waiting]
    return {
        "part": "stations",
        "stations": stations,
        "opened": refused.number if refused else waiting[0] if waiting else None,
        "is_all_done": not waiting,
        "waiting": len(waiting),
        "end_form": EndForm(),
        "enough": ENOUGH,
        "other_ends": ENDED_BY_US,
        "may_warn": True,
    }


def _names(request: HttpRequest, shown: Session) -> list[str]:
    """Of the stations that the session goes on without."""
    if not shown.left_out:
        return []
    stations = Station.objects.visible_to(request.user).of(shown.building)
    return list(stations.filter(pk__in=shown.left_out).values_list("name", flat=True))


def _after(shown: Session, now: datetime) -> dict[str, Any]:
    to_come = shown.resident.sessions.on_the_plan().filter(starts_at__gt=now)
    return {
        "part": "after",
        "next": to_come.filter(started_at__isnull=True).exclude(pk=shown.pk).order_by("starts_at").first(),
        # Something may still be seen on the way back.
        "may_warn": bool(shown.started_at) or is_of_today(shown, now),
        "is_unwritten": shown.state_at(now) is State.NOT_RECORDED,
        "was_left_open": bool(shown.started_at) and not shown.ended_at,
    }
