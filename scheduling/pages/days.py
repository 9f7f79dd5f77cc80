"""A day: who is on which station when, who is being fetched when, and how full it is."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from program.models import Closure, Hours, ShiftTime, Station
from program.rules.states import State
from program.rules.week import Week, local_instant
from program.web.frame import building_here, day_named, local_now
from program.web.viewing import viewed
from scheduling.pages.closed import closures_in, closures_said, note_on
from scheduling.pages.grid import grid_of
from scheduling.pages.help import hours_of_help
from scheduling.pages.visits import Visit, on_the_plan, published_visits


@dataclass(frozen=True, slots=True)
class Way:
    """Somebody fetched before a session, or brought back after it."""

    at: datetime
    visit: Visit
    is_back: bool


@require_safe
def today(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    return redirect("scheduling:day", building.pk, local_now(building).date().isoformat())


@require_safe
def day(request: HttpRequest, building_id: int, text: str) -> HttpResponse:
    building = building_here(request, building_id)
    shown = day_named(text)
    start, until = (local_instant(shown + timedelta(days=offset), 0, building.zone) for offset in (0, 1))
    everything = published_visits(request, building, start, until)
    closures = closures_in(request, building, start, until)
    viewed(request, "day", {visit.resident for visit in everything})
    visits = on_the_plan(everything)
    stations = list(Station.objects.visible_to(request.user).of(building).filter(retired_at__isnull=True))
    names = {station.pk: station.name for station in stations}
    shifts = ShiftTime.objects.visible_to(request.user).of(building).select_related("user")
    on_duty = list(shifts.filter(starts_at__lt=until, ends_at__gt=start).order_by("starts_at", "user__name"))
    openings = Hours.objects.visible_to(request.user).of(building).openings()
    context = {
        "day": shown,
        "before": shown - timedelta(days=1),
        "after": shown + timedelta(days=1),
        "week": Week.holding(shown),
        "visits": everything,
        "closed": closures_said(closures, building),
        **_marks(everything, names, closures),
        "on_the_plan": len(visits),
        "grid": grid_of(building, [shown], [station.name for station in stations], visits) if visits else None,
        "ways": _ways(visits),
        "on_duty": on_duty,
        "help": hours_of_help(building, shown, openings, visits, on_duty),
        "is_open": any(period.weekday == shown.weekday() for period in openings),
    }
    return render(request, "scheduling/day.html", context)


def _marks(visits: list[Visit], names: dict[int, str], closures: Sequence[Closure]) -> dict[str, Any]:
    """Each visit with “4 of 5 stations” where some are left out; their names once if all go without the same."""
    left_out = {visit.left_out for visit in visits if visit.mark}
    shared = _named(left_out.pop(), names) if len(left_out) == 1 else ""
    rows = []
    for visit in visits:
        marked = f"{visit.mark} stations" if visit.mark else ""
        without = "" if shared else _named(visit.left_out, names)
        marked = f"{marked}, without {without}" if without else marked
        rows.append((visit, marked, note_on(visit, closures)))
    return {"rows": rows, "without": shared}


def _named(left_out: tuple[int, ...], names: dict[int, str]) -> str:
    return " and ".join(names[pk] for pk in left_out if pk in names)


def _ways(visits: list[Visit]) -> list[Way]:
    """Who is still to be fetched or brought back, in order of time."""
    escorted = [visit for visit in visits if visit.escort_sixths and visit.said and visit.said.state != State.DONE]
    ways = [Way(visit.fetched_at, visit, is_back=False) for visit in escorted if visit.said and visit.said.is_open]
    ways += [Way(visit.ends_at, visit, is_back=True) for visit in escorted]
    return sorted(ways, key=lambda way: (way.at, way.visit.resident.family_name))
