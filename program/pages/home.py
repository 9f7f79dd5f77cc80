"""The first page: to the building one works in, or the choice of one."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from program import clock
from program.access import is_administrator, kinds_in
from program.models import Building, Role
from program.web.frame import building_here

# Where whoever is nothing else in a building finds their own work first.
LANDING = {frozenset({Role.Kind.STAFF}): "scheduling:now", frozenset({Role.Kind.CLINICIAN}): "program:waiting"}


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    buildings = list(Building.objects.visible_to(request.user).order_by("name"))
    known = {building.pk for building in buildings}
    if len(known) == 1 or request.session.get("building") in known:
        chosen = request.session.get("building")
        return redirect("program:building", chosen if chosen in known else buildings[0].pk)
    manages = request.user.roles.held_at(clock.now()).filter(kind=Role.Kind.REGIONAL_MANAGER)
    may_start = is_administrator(request.user)
    if manages and not (buildings or may_start):
        return redirect("reports:newest")
    context = {
        "choice": buildings,
        "may_start": may_start,
        # Their names are no care data; residents and sessions do not show for a regional manager.
        "managed": manages.building_ids().order_by("name").values_list("name", flat=True),
    }
    return render(request, "program/home.html", context)


@require_safe
def building(request: HttpRequest, building_id: int) -> HttpResponse:
    here = building_here(request, building_id)
    return redirect(LANDING.get(kinds_in(request.user, here), "scheduling:week-now"), building_id)
