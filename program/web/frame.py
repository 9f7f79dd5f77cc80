"""What stands around every page: the building one is in, the way to the others, and the clock of the building."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from program import clock
from program.access import RIGHTS, kinds_in
from program.models import Building
from program.rules.week import Week

# Label, address, and the parts of other addresses that belong to the same matter.
PLACES_TO_GO = (
    ("This week", "scheduling:week-now", ("week", "rosters")),
    ("Today", "scheduling:today", ("day", "sessions")),
    ("Residents", "program:residents", ("residents",)),
    ("Clearances", "program:clearances", ("clearances",)),
    ("Shifts", "program:shifts", ("shifts",)),
    ("Places", "program:places", ("places",)),
    ("Imports", "program:imports", ("imports",)),
)


class ClockMiddleware:
    """What a page says of time is said by the building's clock; no request leaves its zone to the next."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(None):
            return self.get_response(request)


def building_here(request: HttpRequest, building_id: int) -> Building:
    """The building of this address, if the person has a role there; from here on times are by its clock."""
    buildings = list(Building.objects.visible_to(request.user).order_by("name"))
    found = next((building for building in buildings if building.pk == building_id), None)
    if found is None:
        raise Http404
    request.buildings, request.building = buildings, found
    held = kinds_in(request.user, found)
    request.rights = frozenset(right for right, kinds in RIGHTS.items() if kinds & held)
    timezone.activate(found.zone)
    if request.session.get("building") != found.pk:
        request.session["building"] = found.pk
    return found


def local_now(building: Building) -> datetime:
    return clock.now().astimezone(building.zone)


def this_week(building: Building) -> Week:
    return Week.of(clock.now(), building.zone)


def week_asked(request: HttpRequest, otherwise: Week) -> Week:
    """The week that `?week=` names; Invalid for one that does not exist."""
    name = request.GET.get("week")
    return Week.named(name) if name else otherwise


def frame(request: HttpRequest) -> dict[str, Any]:
    """The variables of base.html. Pages outside a building show neither its name nor a menu."""
    building: Building | None = getattr(request, "building", None)
    shown: dict[str, Any] = {
        "demo": settings.DEMO,
        "sends_mail": bool(settings.EMAIL_HOST),
        "as_of": clock.now(),
        "building": building,
    }
    if building is None:
        return shown
    return shown | {
        "nav": _nav(request, building),
        "buildings": [
            (other.name, reverse("program:building", args=[other.pk]), other.pk == building.pk)
            for other in request.buildings
        ],
        "rights": request.rights,
    }


def _nav(request: HttpRequest, building: Building) -> list[tuple[str, str, bool]]:
    here = request.path.removeprefix(f"/buildings/{building.pk}/").partition("/")[0]
    return [
        (label, reverse(name, args=[building.pk]), here in parts)
        for label, name, parts in PLACES_TO_GO
        if name != "program:imports" or "import files" in request.rights
    ]
