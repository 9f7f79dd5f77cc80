"""Whether a week holds, in words and numbers: placed of prescribed, and where help is short."""

from typing import Any

from django.db.models import Sum
from django.http import HttpRequest

from program import clock
from program.models import Building, Prescription, Resident
from scheduling.models import Roster
from scheduling.pages.help import HourOfHelp
from scheduling.pages.visits import Visit

State = Roster.State


def meter_of(request: HttpRequest, building: Building, roster: Roster | None, standing: list[Visit]) -> dict[str, Any]:
    """Placed of prescribed, and the most that any roster can place; of the draft, else of what stands."""
    if roster is not None and roster.state in {State.DRAFT, State.PUBLISHED}:
        told = roster.progress
        placed = told["placed"] if roster.state == State.DRAFT else len(standing)
        return _meter_said(placed, told["prescribed"], max(told["most_possible"], placed))
    staying = Resident.objects.visible_to(request.user).of(building).staying_at(clock.now()).in_the_programme()
    in_force = Prescription.objects.visible_to(request.user).in_force().filter(resident__in=staying)
    asked = Prescription.objects.visible_to(request.user).filter(pk__in=in_force.values("pk"))
    return _meter_said(len(standing), asked.aggregate(total=Sum("sessions_a_week"))["total"] or 0, None)


def _meter_said(placed: int, prescribed: int, best: int | None) -> dict[str, Any]:
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
