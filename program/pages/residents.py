"""Residents: who is here, who cannot train now, and all that is known about one."""

from datetime import timedelta
from decimal import Decimal
from itertools import groupby

from django.core.paginator import Paginator
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from program import clock
from program.models import Building, CommitmentTime, Prescription, Resident, Session, Unit
from program.pages.sessions_said import said
from program.rules.week import Week, date_and_time
from program.web.frame import building_here, local_now, this_week, week_asked
from program.web.standing import CANNOT, by_name, only_those_who, standing_of, with_standing
from program.web.viewing import viewed

A_PAGE = 50


def residents_of(request: HttpRequest, building: Building) -> QuerySet[Resident]:
    return Resident.objects.visible_to(request.user).of(building)


def one_resident(request: HttpRequest, building_id: int, resident_id: int) -> Resident:
    """The resident of this address; the building is here from now on."""
    building = building_here(request, building_id)
    return get_object_or_404(residents_of(request, building).select_related("building", "unit"), pk=resident_id)


@require_safe
def residents(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    asked = {name: request.GET.get(name, "").strip()[:80] for name in ("name", "unit", "cannot")}
    staying = residents_of(request, building).staying_at(clock.now())
    found = _asked_for(with_standing(staying, building), asked, building)
    pages = Paginator(sorted(found.select_related("unit"), key=by_name), A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    today = local_now(building).date()
    rows = [(resident, standing_of(resident, today)) for resident in page]
    viewed(request, "residents", (resident for resident, _ in rows))
    context = {
        "rows": rows,
        "page": page,
        "asked": asked,
        "is_narrowed": any(asked.values()),
        "units": Unit.objects.visible_to(request.user).of(building).order_by("name"),
        "cannot": CANNOT,
    }
    return render(request, "program/residents.html", context)


def _asked_for(found: QuerySet[Resident], asked: dict[str, str], building: Building) -> QuerySet[Resident]:
    for word in asked["name"].split():
        found = found.filter(Q(given_name__icontains=word) | Q(family_name__icontains=word))
    if asked["unit"].isdecimal():
        found = found.filter(unit=int(asked["unit"][:9]))
    return only_those_who(found, asked["cannot"], building)


@require_safe
def resident(request: HttpRequest, building_id: int, resident_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    everyone = with_standing(residents_of(request, building), building).select_related("unit")
    shown = get_object_or_404(everyone, pk=resident_id)
    week = week_asked(request, this_week(building))
    viewed(request, "resident", [shown])
    now = clock.now()
    not_over = Q(ends_at__isnull=True) | Q(ends_at__gt=now)
    context = {
        "resident": shown,
        "standing": standing_of(shown, local_now(building).date()),
        "clearances": shown.clearances.filter(withdrawn_at__isnull=True).order_by("-until_on"),
        "holds": shown.holds.filter(not_over).order_by("starts_at"),
        "plan": _plan(shown, building),
        "recovery": plainly(shown.recovery_hours),
        "next_said": f"Next session {date_and_time(shown.next_at, building.zone)}" if shown.next_at else "",
        "week": week,
        "days": _calendar(shown, building, week),
        "commitments": shown.commitments.filter(ended_at__isnull=True).order_by("kind", "starts"),
        "sessions": [said(session, now) for session in _sessions(shown)],
    }
    return render(request, "program/resident.html", context)


def _plan(shown: Resident, building: Building) -> Prescription | None:
    plan = shown.prescriptions.prefetch_related("lines__station").order_by("-number").first()
    if plan:
        for line in plan.lines.all():
            line.load_said = plainly(line.load)
            line.minutes = line.turns * building.turn_minutes
    return plan


def plainly(number: Decimal) -> str:
    """As a person writes it: 2.5, 40."""
    return f"{number.normalize():f}"


def _sessions(shown: Resident) -> QuerySet[Session]:
    recent = clock.now() - timedelta(days=28)
    return (
        shown.sessions.filter(starts_at__gte=recent)
        .select_related("building")
        .prefetch_related("records")
        .order_by("-starts_at")
    )


def _calendar(shown: Resident, building: Building, week: Week) -> list[tuple[object, list[CommitmentTime]]]:
    """The days of the week on which something stands in the calendar, in order."""
    times = (
        shown.commitment_times.filter(
            starts_at__lt=week.ends_at(building.zone), ends_at__gt=week.starts_at(building.zone)
        )
        .select_related("commitment")
        .order_by("starts_at")
    )
    return [
        (day, list(those))
        for day, those in groupby(times, key=lambda time: time.starts_at.astimezone(building.zone).date())
    ]
