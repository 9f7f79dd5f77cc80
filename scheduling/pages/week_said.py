"""Whether a week holds, in words and numbers: placed of prescribed, and where help is short."""

from typing import Any

from django.db.models import Sum
from django.http import HttpRequest
from django.urls import reverse

from program import clock
from program.models import Building, Prescription, Resident
from program.rules.week import Week
from scheduling.models import Roster
from scheduling.pages.help import HourOfHelp
from scheduling.pages.visits import Visit

State = Roster.State


def meter_of(
    request: HttpRequest, building: Building, roster: Roster | None, standing: list[Visit], *, is_over: bool
) -> dict[str, Any]:
    """Placed of prescribed, and the most that any roster can place; of the draft, else of what stands.

    Empty where nothing is asked for, and for a week that went by without a session.
    """
    if is_over:
        return {}
    if roster is not None and roster.state in {State.DRAFT, State.PUBLISHED}:
        told = roster.progress
        placed = told["placed"] if roster.state == State.DRAFT else len(standing)
        return _meter_said(placed, told["prescribed"], max(told["most_possible"], placed))
    staying = Resident.objects.visible_to(request.user).of(building).staying_at(clock.now()).in_the_programme()
    in_force = Prescription.objects.visible_to(request.user).in_force().filter(resident__in=staying)
    asked = Prescription.objects.visible_to(request.user).filter(pk__in=in_force.values("pk"))
    prescribed = asked.aggregate(total=Sum("sessions_a_week"))["total"]
    return _meter_said(len(standing), prescribed or 0, None)


def _meter_said(placed: int, prescribed: int, best: int | None) -> dict[str, Any]:
    if not prescribed:
        return {}
    said = f"Placed {placed} of {prescribed}"
    if best is not None:
        said += f"; no roster can place more than {best}"
    if placed >= prescribed:
        answer = "Every session that the exercise plans ask for has a place."
    elif best is not None and placed >= best:
        answer = "More is not possible as things stand. See below who is left out, and why."
    elif placed:
        answer = "Not every session that the exercise plans ask for has a place."
    else:
        answer = "No session has a place yet."
    return {"placed": placed, "prescribed": prescribed, "best": best, "said": said, "answer": answer}


def missing_of(request: HttpRequest, week: Week, table: dict[str, Any], meter: dict[str, Any]) -> dict[str, str] | None:
    """The first thing without which no week can be built, and the page where it is entered by those who may."""
    wanted = (
        (table["open_days"], "The circuit has no opening hours", "change places", "program:places", "Enter the hours"),
        (table["stations"], "There are no stations yet", "change places", "program:places", "Add the stations"),
        (meter, "Nobody has an exercise plan yet", "import files", "program:imports", "Import residents"),
        (table["on_duty"], "Nobody is on the circuit in this week", "change shifts", "program:shifts", "Add shifts"),
    )
    lacking = next((rest for is_there, *rest in wanted if not is_there), None)
    if lacking is None:
        return None
    heading, right, name, action = lacking
    query = f"?week={week.name}" if name == "program:shifts" else ""
    return {
        "heading": heading,
        "sentence": "Until that has changed no session can be planned.",
        "address": reverse(name, args=[request.building.pk]) + query if right in request.rights else "",
        "action": action,
    }


def short_said(hours: list[HourOfHelp]) -> str:
    """The hours of a day in which the help is used up, or is not there, in words."""
    parts = []
    if short := _spans([hour.is_short for hour in hours], hours):
        parts.append(f"more help is needed than is there {short}")
    if full := _spans([hour.is_full and not hour.is_short for hour in hours], hours):
        parts.append(f"full {full}")
    return "; ".join(parts)


def _spans(chosen: list[bool], hours: list[HourOfHelp]) -> str:
    """The chosen hours as spans: “08:00–10:00 and 14:00–17:00”."""
    spans: list[list[str]] = []
    for is_chosen, hour in zip(chosen, hours, strict=True):
        if is_chosen and spans and spans[-1][1] == hour.starts:
            spans[-1][1] = hour.ends
        elif is_chosen:
            spans.append([hour.starts, hour.ends])
    return " and ".join(f"{start}–{end}" for start, end in spans)
