"""A day on paper, to be ticked where there is no power: who, when, which room, and a box for each station."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from program import clock
from program.models import Station
from program.rules.week import local_instant
from program.web.frame import building_here, day_named
from program.web.viewing import viewed
from scheduling.pages.visits import on_the_plan, published_visits

# For visits that nobody had published.
BLANK_ROWS = 4


@require_safe
def sheet(request: HttpRequest, building_id: int, text: str) -> HttpResponse:
    building = building_here(request, building_id)
    day = day_named(text)
    start, until = (local_instant(day + timedelta(days=offset), 0, building.zone) for offset in (0, 1))
    visits = on_the_plan(published_visits(request, building, start, until))
    viewed(request, "sheet", {visit.resident for visit in visits})
    there = Station.objects.visible_to(request.user).of(building).filter(retired_at__isnull=True).count()
    places = range(max([there, *(len(visit.stops) for visit in visits)]))
    context = {
        "day": day,
        "printed_at": clock.now(),
        "places": [place + 1 for place in places],
        "rows": [(visit, [*visit.stops, *[None] * (len(places) - len(visit.stops))]) for visit in visits],
        "blank_rows": range(BLANK_ROWS),
    }
    return render(request, "scheduling/sheet.html", context)
