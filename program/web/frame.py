"""What stands around every page: the building one is in, the way to the others, and the clock of the building."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from program import clock
from program.access import ADMINISTRATOR, RIGHTS, kinds_in
from program.models import Building
from program.rules.week import Week
from program.web.sessions import kinds_of

# Label, address, and the parts of other addresses that belong to the same matter.
PLACES_TO_GO = (
    ("Now", "scheduling:now", ("now",)),
    ("This week", "scheduling:week-now", ("week", "rosters")),
    ("Today", "scheduling:today", ("day", "sessions")),
    ("To do", "scheduling:to-do", ("to-do",)),
    ("Residents", "program:residents", ("residents",)),
    ("Clearances", "program:clearances", ("clearances",)),
    ("Waiting", "program:waiting", ("waiting",)),
    ("Shifts", "program:shifts", ("shifts",)),
    ("Places", "program:places", ("places",)),
    ("Imports", "program:imports", ("imports",)),
    ("Reports", "reports:of-building", ("reports",)),
)
# Shown to those alone who may do what waits there.
NEEDS = {
    "program:imports": "import files",
    "program:waiting": "see to incidents",
    "reports:of-building": "see reports",
}

# In which this service could have been, or be, at work.
YEARS = range(2000, 2200)


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


def day_named(text: str) -> date:
    """The day of an address, 2026-12-01; not found for anything else, and for years without a neighbour."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Http404 from None
    if day.year not in YEARS:
        raise Http404
    return day


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
        return shown | {"nav": _nav_outside(request)}
    return shown | {
        "nav": _nav(request, building),
        "buildings": [
            (other.name, reverse("program:building", args=[other.pk]), other.pk == building.pk)
            for other in request.buildings
        ],
        "rights": request.rights,
    }


def _nav(request: HttpRequest, building: Building) -> list[tuple[str, str, bool]]:
    here, named = [*request.path.removeprefix(f"/buildings/{building.pk}/").split("/"), "", ""][:2]
    # “Today” is not lit on another day, nor “This week” on another week.
    current = {"day": local_now(building).date().isoformat(), "week": this_week(building).name}
    is_another = bool(named) and named != current.get(here, named)
    return [
        (label, reverse(name, args=[building.pk]), here in parts and not is_another)
        for label, name, parts in PLACES_TO_GO
        if name not in NEEDS or NEEDS[name] in request.rights
    ]


def _nav_outside(request: HttpRequest) -> list[tuple[str, str, bool]]:
    """Outside the buildings administrators have somewhere to go, and those who read reports."""
    # Refused before anybody was known, a request has no user.
    user = getattr(request, "user", None)
    held = kinds_of(request) if user is not None and user.is_authenticated else frozenset()
    places = []
    if ADMINISTRATOR in held:
        places += [("Buildings", "program:home"), ("People", "program:people")]
    if RIGHTS["see reports"] & held:
        places.append(("Reports", "reports:newest"))
    found = [(label, reverse(name)) for label, name in places]
    return [(label, to, request.path == to or (to != "/" and request.path.startswith(to))) for label, to in found]
