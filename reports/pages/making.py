"""Asking for reports, and how far they are: a page that survives a reload and looks by itself."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from program import clock
from program.access import RIGHTS
from program.rules.errors import NotAllowed
from reports.models import Report, Run
from reports.pages.reader import address_of, around, reader_of
from reports.pages.said import counted
from reports.periods import Period
from reports.tasks import request_reports

State = Report.State
# The part on the page that looks by itself stops when it is answered with this.
STOP_LOOKING = 286


@require_POST
def make(request: HttpRequest) -> HttpResponse:
    reader = reader_of(request)
    if not reader.makes:
        raise NotAllowed(f"You may not make reports here. Ask your {' or '.join(sorted(RIGHTS['make reports']))}.")
    period = Period.named(request.POST.get("period_kind", ""), request.POST.get("period_name", ""))
    # In the first hours of a period it may have begun in some of the buildings alone.
    begun = [building for building in reader.made_by_them if period.starts_at(building.zone) < clock.now()]
    # Pressed twice: one asking at a time is enough.
    run = _at_work(request, period) or request_reports(
        by=request.user, buildings=begun or reader.made_by_them, period=period
    )
    return redirect("reports:run", run.pk)


def _at_work(request: HttpRequest, period: Period) -> Run | None:
    mine = Run.objects.visible_to(request.user).filter(asked_by=request.user)
    of_period = mine.filter(period_kind=period.kind, period_name=period.name)
    return of_period.filter(reports__state=State.WAITING).order_by("-pk").first()


@require_safe
def run(request: HttpRequest, run_id: int) -> HttpResponse:
    reader_of(request)
    asked = get_object_or_404(Run.objects.visible_to(request.user), pk=run_id)
    return render(request, "reports/run.html", around(request) | progress_of(request, asked))


@require_safe
def progress(request: HttpRequest, run_id: int) -> HttpResponse:
    reader_of(request)
    asked = get_object_or_404(Run.objects.visible_to(request.user), pk=run_id)
    if not request.htmx:
        return redirect("reports:run", asked.pk)
    shown = progress_of(request, asked)
    if shown["waiting"]:
        return render(request, "reports/run.html#at-work", shown)
    return render(request, "reports/run.html#finished", shown, status=STOP_LOOKING)


def progress_of(request: HttpRequest, asked: Run) -> dict[str, Any]:
    """How many of the buildings that the person may see are made, and what became of the others."""
    reports = list(
        Report.objects.visible_to(request.user)
        .filter(run=asked)
        .select_related("building")
        .defer("figures")
        .order_by("building__name")
    )
    count = {state: sum(report.state == state for report in reports) for state in State.values}
    made, all_of_them = count[State.MADE], len(reports)
    parts = [f"{made} of {counted(all_of_them, 'building')} made"]
    parts += [f"{count[state]} {state}" for state in (State.FAILED, State.REFUSED) if count[state]]
    return {
        "run": asked,
        "period": asked.period,
        "sentence": ", ".join(parts) + ".",
        "done": all_of_them - count[State.WAITING],
        "maximum": all_of_them,
        "waiting": count[State.WAITING],
        "not_made": [report for report in reports if report.failure],
        "again": reverse("reports:run", args=[asked.pk]),
        "side_by_side": address_of(asked.period),
    }
