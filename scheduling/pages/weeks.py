"""This week: does it hold, who is left out and why; build the draft, compare it, publish it."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from program import clock
from program.access import require
from program.models import Building, Hours, Resident, ShiftTime, Station
from program.rules.errors import Invalid, Refused
from program.rules.week import Week
from program.web.frame import building_here, this_week
from program.web.scope import status_of
from program.web.standing import by_name, standing_of
from program.web.viewing import viewed
from scheduling.actions import compare, publish_roster
from scheduling.models import Roster
from scheduling.pages.closed import closures_in, closures_said
from scheduling.pages.grid import MOST_STATIONS_A_DAY, Grid, grid_of
from scheduling.pages.help import hours_of_help
from scheduling.pages.visits import Visit, draft_visits, on_the_plan, published_visits, residents_named
from scheduling.pages.week_said import meter_of, missing_of, short_said
from scheduling.tasks import request_roster

State = Roster.State
AT_WORK = (State.WAITING, State.BUILDING)
LONGEST_REFUSAL = 2_000


@dataclass(frozen=True, slots=True)
class LeftOut:
    resident: Resident
    missing: int
    reasons: str
    can_train: bool


def week_named(name: str) -> Week:
    try:
        return Week.named(name)
    except Invalid:
        raise Http404 from None


@require_safe
def week_now(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    return redirect("scheduling:week", building.pk, this_week(building).name)


@require_safe
def week(request: HttpRequest, building_id: int, name: str) -> HttpResponse:
    building = building_here(request, building_id)
    return render(request, "scheduling/week.html", _shown(request, building, week_named(name)))


@require_POST
def build(request: HttpRequest, building_id: int, name: str) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "plan sessions", building)
    asked = week_named(name)
    newest = _newest(request, building, asked)
    # Pressed twice, or by two people: one building at a time is enough.
    if newest is None or newest.state not in AT_WORK:
        try:
            request_roster(building=building, week=asked, by=request.user)
        except Refused as refusal:
            return _refused(request, building, asked, refusal)
    return redirect("scheduling:week", building.pk, asked.name)


@require_safe
def progress(request: HttpRequest, building_id: int, roster_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    roster = get_object_or_404(rosters_of(request, building), pk=roster_id)
    if not request.htmx:
        return redirect("scheduling:week", building.pk, Week(roster.monday).name)
    if roster.state not in AT_WORK:
        return HttpResponseClientRefresh()
    return render(request, "program/parts.html#progress-inside", progress_of(roster, building))


@require_POST
def publish(request: HttpRequest, building_id: int, roster_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "plan sessions", building)
    roster = get_object_or_404(rosters_of(request, building), pk=roster_id)
    asked = Week(roster.monday)
    version = request.POST.get("version", "")
    without = [int(number) for number in request.POST.getlist("without") if number.isdecimal()]
    try:
        with transaction.atomic():
            published = publish_roster(
                roster=roster, by=request.user, version=int(version) if version.isdecimal() else 0, without=without
            )
    except Refused as refusal:
        return _refused(request, building, asked, refusal)
    counts = (
        (len(published.booked), "new"),
        (len(published.moved), "moved"),
        (len(published.withdrawn), "withdrawn"),
    )
    messages.success(request, f"Published: {', '.join(f'{count} {what}' for count, what in counts)}.")
    return redirect("scheduling:week", building.pk, asked.name)


def rosters_of(request: HttpRequest, building: Building) -> Any:
    return Roster.objects.visible_to(request.user).of(building).select_related("published_by", "asked_by")


def _newest(request: HttpRequest, building: Building, asked: Week) -> Roster | None:
    return rosters_of(request, building).filter(monday=asked.monday).order_by("-asked_at", "-pk").first()


def _refused(request: HttpRequest, building: Building, asked: Week, refusal: Refused) -> HttpResponse:
    """The same week with the sentence above it; clashes by name, and a second button for the rest."""
    clashes = refusal.details.get("clashes", [])
    more = {"refusal": refusal.sentence, "clashes": clashes, "others": refusal.details.get("others", 0)}
    more["without"] = [clash["session"] for clash in clashes]
    context = _shown(request, building, asked) | more
    return render(request, "scheduling/week.html", context, status=status_of(refusal))


def _shown(request: HttpRequest, building: Building, asked: Week) -> dict[str, Any]:
    newest = _newest(request, building, asked)
    start, until = asked.starts_at(building.zone), asked.ends_at(building.zone)
    published = published_visits(request, building, start, until)
    draft: list[Visit] = []
    left_out: list[LeftOut] = []
    if newest is not None and newest.answer:
        keys = [one["resident"] for one in (*newest.answer["sessions"], *newest.answer["unplaced"])]
        residents = residents_named(request, building, keys)
        draft = draft_visits(newest, residents) if newest.state == State.DRAFT else []
        left_out = _left_out(newest, residents, building)
    is_over = until <= clock.now()
    is_draft = bool(draft) and request.GET.get("show") != "published"
    standing = on_the_plan(published)
    is_ready = newest is not None and newest.state == State.DRAFT
    replaced = _replaced(newest, building) if is_ready and standing else {}
    beside = [visit for visit in standing if visit.said is None or visit.said.session.pk not in replaced]
    seen = [*standing, *draft] if is_draft else published
    viewed(request, "week", {visit.resident for visit in seen} | {one.resident for one in left_out})
    table = table_of(request, building, asked, [*beside, *draft] if is_draft else standing)
    meter = meter_of(request, building, newest, standing, is_over=is_over)
    is_at_rest = not (is_over or published or draft or (newest is not None and newest.state in AT_WORK))
    return {
        "week": asked,
        "is_over": is_over,
        "roster": newest,
        "meter": meter,
        "missing": missing_of(request, asked, table, meter) if is_at_rest else None,
        "left_out": left_out,
        "published_meanwhile": _published_meanwhile(request, building, newest),
        "closed": closures_said(closures_in(request, building, start, until), building),
        "is_draft": is_draft,
        "has_draft": bool(draft),
        "draft_count": len(draft),
        "withdrawn_count": sum(not is_moved for is_moved in replaced.values()),
        "can_publish": newest is not None and newest.state == State.DRAFT and bool(draft or published),
        "has_published": bool(published),
        **_progress_part(newest, building),
        **table,
    }


def _replaced(roster: Roster, building: Building) -> dict[int, bool]:
    """The published sessions that publishing this draft takes from their place, and whether they are moved."""
    roster.building = building
    compared = compare(roster=roster)
    moved = {session.pk: True for session, _ in compared.moved}
    return moved | {session.pk: False for session in compared.withdrawn}


def _left_out(roster: Roster, residents: dict[str, Resident], building: Building) -> list[LeftOut]:
    day = max(roster.monday, clock.now().astimezone(building.zone).date())
    found = []
    for one in roster.answer["unplaced"]:
        if (resident := residents.get(one["resident"])) is not None:
            standing = standing_of(resident, day)
            # Whoever cannot train at all is not short of hours: that is the reason to name.
            can_train = standing.kind != "stop"
            reasons = [reason["text"] for reason in one["reasons"]] if can_train else [standing.words]
            found.append(LeftOut(resident, one["missing"], " ".join(reasons), can_train))
    return sorted(found, key=lambda one: by_name(one.resident))


def _published_meanwhile(request: HttpRequest, building: Building, roster: Roster | None) -> Roster | None:
    """Another roster of the same week, published after this draft was asked for."""
    if roster is None or roster.state != State.DRAFT:
        return None
    others = rosters_of(request, building).filter(monday=roster.monday, state=State.PUBLISHED)
    return others.filter(published_at__gt=roster.asked_at).defer("problem", "answer").first()


def _progress_part(roster: Roster | None, building: Building) -> dict[str, Any]:
    return {"progress": progress_of(roster, building)} if roster is not None and roster.state in AT_WORK else {}


def progress_of(roster: Roster, building: Building) -> dict[str, Any]:
    """The variables of the progress part: a sentence, and the seconds gone of those allowed."""
    again = reverse("scheduling:week", args=[building.pk, Week(roster.monday).name])
    if roster.state == State.WAITING or roster.started_at is None:
        return {"sentence": "Waiting to be built. You may leave this page; the roster is kept.", "again": again}
    seconds = (clock.now() - roster.started_at).total_seconds()
    told = roster.progress
    sentence = "Building the week."
    if told:
        sentence = f"Building the week: {told['placed']} of {told['prescribed']} placed so far."
    return {"sentence": sentence, "done": min(int(seconds), roster.seconds), "maximum": roster.seconds, "again": again}


def table_of(request: HttpRequest, building: Building, asked: Week, visits: list[Visit]) -> dict[str, Any]:
    stations = [
        *Station.objects.visible_to(request.user)
        .of(building)
        .filter(retired_at__isnull=True)
        .values_list("name", flat=True)
    ]
    openings = Hours.objects.visible_to(request.user).of(building).openings()
    open_days = [day for day in asked.days if any(period.weekday == day.weekday() for period in openings)]
    is_by_day = len(stations) > MOST_STATIONS_A_DAY
    chosen = _chosen_day(request, open_days, building)
    shifts = ShiftTime.objects.visible_to(request.user).of(building)
    on_duty = list(
        shifts.filter(starts_at__lt=asked.ends_at(building.zone), ends_at__gt=asked.starts_at(building.zone))
    )
    help_by_day = [(day, hours_of_help(building, day, openings, visits, on_duty)) for day in open_days]
    shown: Grid | None = None
    if visits and stations and chosen:
        shown = grid_of(building, [chosen] if is_by_day else open_days, stations, visits)
    return {
        "grid": shown,
        "grid_caption": "Who is on which station when",
        "chosen": chosen,
        "is_by_day": is_by_day,
        "stations": stations,
        "on_duty": on_duty,
        "open_days": open_days,
        "short": [(day, said) for day, hours in help_by_day if (said := short_said(hours))],
        "visits_of_day": [visit for visit in visits if visit.starts_at.astimezone(building.zone).date() == chosen],
    }


def _chosen_day(request: HttpRequest, open_days: list[date], building: Building) -> date | None:
    """The day asked for; else today if it is open, else the first one."""
    asked = request.GET.get("day", "")
    today = clock.now().astimezone(building.zone).date()
    for day in open_days:
        if asked == str(day.isoweekday()):
            return day
    return today if today in open_days else next(iter(open_days), None)
