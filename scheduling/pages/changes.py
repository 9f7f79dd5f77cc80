"""What publishing a draft changes: a part of the week that is loaded into it, and a page of its own."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers
from django_htmx.http import HttpResponseClientRefresh

from program.rules.week import Week
from program.web.frame import building_here
from program.web.viewing import viewed
from scheduling.actions import compare
from scheduling.models import Roster
from scheduling.pages.visits import residents_named
from scheduling.pages.weeks import rosters_of


@require_safe
@vary_on_headers("HX-Request")
def changes(request: HttpRequest, building_id: int, roster_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    roster = get_object_or_404(rosters_of(request, building), pk=roster_id)
    week = Week(roster.monday)
    if roster.state != Roster.State.DRAFT:
        return HttpResponseClientRefresh() if request.htmx else redirect("scheduling:week", building.pk, week.name)
    roster.building = building
    compared = compare(roster=roster)
    named = residents_named(request, building, [place.resident for place in compared.new])
    new = [(named[place.resident], place) for place in compared.new if place.resident in named]
    replaced = [*compared.withdrawn, *(session for session, _ in compared.moved)]
    viewed(request, "changes", {resident for resident, _ in new} | {session.resident for session in replaced})
    context = {"week": week, "compared": compared, "new": sorted(new, key=lambda pair: pair[1].start)}
    part = "#changes" if request.htmx else ""
    return render(request, f"scheduling/changes.html{part}", context)
