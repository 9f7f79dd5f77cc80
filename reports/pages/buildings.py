"""One building's report: its figures with words, its weeks, and what stands behind each figure; never a name."""

from collections.abc import Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from program.models import Building
from program.rules.week import Week
from reports.drawing import ratio_bar, share_marks, top_of, week_bars
from reports.pages.periods import csv_answer, line_of
from reports.pages.reader import Reader, around, chooser_of, dates_of, period_named, reader_of
from reports.pages.said import (
    CLASSES,
    attendance_said,
    call_words,
    completion_said,
    day_words,
    lasts_words,
    moment_words,
    volume_said,
    withdrawn_said,
)
from reports.pages.side_by_side import Standing, standings
from reports.periods import Period


@require_safe
def of_building(request: HttpRequest, building_id: int) -> HttpResponse:
    """From the menu of a building: to the newest reports."""
    if not _may_know_of(request, building_id) or reader_of(request).building(building_id) is None:
        raise Http404
    return redirect("reports:newest")


@require_safe
def building(request: HttpRequest, kind: str, name: str, building_id: int) -> HttpResponse:
    asked, reader, there = _asked(request, kind, name, building_id)
    timezone.activate(there.zone)
    (standing,) = standings(request, [there], asked)

    def address(period: Period) -> str:
        return reverse("reports:building", args=[period.kind, period.name, there.pk])

    context = {
        "there": there,
        "period": asked,
        "dates": dates_of(asked),
        "chooser": chooser_of(asked, reader.today, address),
        "standing": standing,
        "may_make": there.pk in reader.makes,
        **(told(standing.figures) if standing.figures else {}),
        **_when(standing),
    }
    return render(request, "reports/building.html", around(request) | context)


@require_safe
def export(request: HttpRequest, kind: str, name: str, building_id: int) -> HttpResponse:
    asked, _, there = _asked(request, kind, name, building_id)
    lines = [line_of(one, asked) for one in standings(request, [there], asked) if one.newest]
    return csv_answer(lines, f"adherence-{asked.name}-{there.pk}.csv")


def _asked(request: HttpRequest, kind: str, name: str, building_id: int) -> tuple[Period, Reader, Building]:
    """A building elsewhere is not there, whoever asks; one's own may still not be one's to read about."""
    if not _may_know_of(request, building_id):
        raise Http404
    reader = reader_of(request)
    there = reader.building(building_id)
    if there is None:
        raise Http404
    return period_named(kind, name, reader.today), reader, there


def _may_know_of(request: HttpRequest, building_id: int) -> bool:
    user = request.user
    known = Building.objects.visible_to(user).filter(pk=building_id).exists()
    return known or user.reported_building_ids().filter(pk=building_id).exists()


def _when(standing: Standing) -> dict[str, Any]:
    if standing.made is None or standing.as_of is None:
        return {}
    return {
        "reports_as_of": moment_words(standing.as_of),
        "is_so_far": standing.made.as_of < standing.made.ends_at,
    }


def told(figures: Mapping[str, Any]) -> dict[str, Any]:
    """What the page shows: pictures, the words beside them, and the tables behind them."""
    completion = figures["completion"]
    return {
        "figures": figures,
        "marks": share_marks(figures["attendance"]),
        "attendance": attendance_said(figures["attendance"]),
        "bar": ratio_bar(completion["ratio"], top_of([completion["ratio"]])),
        "completion": completion_said(completion),
        "volume": volume_said(figures["volume"]),
        "call": call_words(figures),
        "lasts": lasts_words(figures["recording"]),
        "weeks": _weeks(figures["weeks"]),
        "missed": sum(figures["missed"].values()),
        "classes": [(kind, figures["missed"][kind]) for kind in CLASSES],
        "notice": withdrawn_said(figures["withdrawn"]),
        "before_the_day": figures["withdrawn"]["before_the_day"],
        "through": figures["withdrawn"]["through_hold_absence_leaving_closure"],
        "closures": [_closure(one) for one in figures["closures"]],
    }


def _weeks(weeks: list[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [
        {**week, "monday": day_words(Week.named(week["week"]).monday.isoformat()), "parts": parts}
        for week, parts in zip(weeks, week_bars(weeks), strict=True)
    ]


def _closure(closure: Mapping[str, Any]) -> str:
    """`outbreak: building, Mon 2 Nov to Mon 9 Nov`."""
    until = closure["until"]
    when = f"{day_words(closure['from'])} to {day_words(until)}" if until else f"since {day_words(closure['from'])}"
    return f"{closure['reason'].capitalize()}: {closure['what']}, {when}"
