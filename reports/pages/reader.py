"""Who reads reports: of which buildings, where they may make them, and the way from here to everything else."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import Http404, HttpRequest
from django.urls import reverse

from program import clock
from program.access import ANYONE_IN_CARE, RIGHTS
from program.models import Building
from program.rules.errors import Invalid, NotAllowed
from program.web.frame import frame
from reports.periods import FIRST_DAY, MONTH, WEEK, Period


@dataclass(frozen=True, slots=True)
class Reader:
    """The buildings whose reports the person may see, by region and name, and the ids of those they may make."""

    buildings: list[Building]
    makes: frozenset[int]

    def building(self, building_id: int) -> Building | None:
        return next((building for building in self.buildings if building.pk == building_id), None)

    @property
    def today(self) -> date:
        """The latest day that it is in one of their buildings."""
        now = clock.now()
        return max((now.astimezone(building.zone).date() for building in self.buildings), default=now.date())

    @property
    def made_by_them(self) -> list[Building]:
        return [building for building in self.buildings if building.pk in self.makes]


def reader_of(request: HttpRequest) -> Reader:
    """404 for whoever has nothing to do with a building's figures; staff of a building are told that they may not."""
    held = list(
        request.user.roles.held_at(clock.now())
        .select_related("building__region", "region")
        .prefetch_related("region__buildings")
    )
    if not any(role.kind in RIGHTS["see reports"] for role in held):
        if any(role.kind in ANYONE_IN_CARE for role in held):
            raise NotAllowed(f"You may not see reports here. Ask your {' or '.join(sorted(RIGHTS['see reports']))}.")
        raise Http404
    found: dict[int, Building] = {}
    makes: set[int] = set()
    for role in held:
        if role.kind not in RIGHTS["see reports"]:
            continue
        there = [role.building] if role.building else list(role.region.buildings.all())
        found |= {building.pk: building for building in there}
        if role.kind in RIGHTS["make reports"]:
            makes |= {building.pk for building in there}
    ordered = sorted(found.values(), key=lambda building: (building.region.name.casefold(), building.name.casefold()))
    return Reader(ordered, frozenset(makes))


def period_named(kind: str, name: str, today: date) -> Period:
    """The period of the address; 404 for one that does not exist or has not begun."""
    try:
        period = Period.named(kind, name)
    except Invalid:
        raise Http404 from None
    if period.name != name or period.first_on > today:
        raise Http404
    return period


def address_of(period: Period) -> str:
    return reverse("reports:period", args=[period.kind, period.name])


def around(request: HttpRequest) -> dict[str, Any]:
    """These pages stand outside the buildings; whoever works in some finds back to them."""
    work_in = [
        (building.name, reverse("program:building", args=[building.pk]), False)
        for building in Building.objects.visible_to(request.user).order_by("name")
    ]
    nav = frame(request)["nav"]
    return {"nav": [*work_in, *nav] if len(work_in) == 1 else nav, "buildings": work_in}


def chooser_of(period: Period, today: date, address: Callable[[Period], str] = address_of) -> dict[str, Any]:
    """Links to the periods before and after, and to the week or month that ends where this one does."""
    last = min(period.days[-1], today)
    newer, older = period.next, period.previous
    return {
        "week": address(period if period.kind == WEEK else Period.holding(WEEK, last)),
        "month": address(period if period.kind == MONTH else Period.holding(MONTH, last)),
        "newer": {"address": address(newer), "words": newer.words} if newer.first_on <= today else None,
        "older": {"address": address(older), "words": older.words} if older.first_on >= FIRST_DAY else None,
    }


def dates_of(period: Period) -> str:
    """`Mon 23 – Sun 29 Nov 2026`; nothing for a month, whose name says it."""
    if period.kind == MONTH:
        return ""
    first, last = period.days[0], period.days[-1]
    return f"{first:%a} {first.day} {first:%b} – {last:%a} {last.day} {last:%b %Y}"
