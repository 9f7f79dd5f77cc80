"""The regional manager's page: the buildings of a period side by side, and the same as a table to take away."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from reports.documents import Line, adherence_csv
from reports.models import Report
from reports.pages.reader import around, chooser_of, dates_of, period_named, reader_of
from reports.pages.side_by_side import Standing, as_of_words, calls_of, standings, tables_of
from reports.periods import WEEK, Period


@require_safe
def newest(request: HttpRequest) -> HttpResponse:
    """To the period that is known best; without any report to the last whole week."""
    reader = reader_of(request)
    last = Report.objects.visible_to(request.user).order_by("-as_of", "-asked_at", "-pk").first()
    period = last.period if last else Period.holding(WEEK, reader.today).previous
    return redirect("reports:period", period.kind, period.name)


@require_safe
def period(request: HttpRequest, kind: str, name: str) -> HttpResponse:
    reader = reader_of(request)
    asked = period_named(kind, name, reader.today)
    standing = standings(request, reader.buildings, asked)
    tables, apart = tables_of(standing)
    has_report = any(one.newest for one in standing)
    context = {
        "period": asked,
        "dates": dates_of(asked),
        "chooser": chooser_of(asked, reader.today),
        "calls": calls_of(standing),
        "tables": tables if has_report else [],
        "apart": apart,
        "has_figures": any(one.figures for one in standing),
        "has_report": has_report,
        "reports_as_of": as_of_words(standing),
        "is_so_far": any(one.made and one.made.as_of < one.made.ends_at for one in standing),
        "run": _run_at_work(request, standing),
        "may_make": bool(reader.makes),
    }
    return render(request, "reports/period.html", around(request) | context)


def _run_at_work(request: HttpRequest, standing: list[Standing]) -> int | None:
    """The asking that is still at work, for a link to how far it is."""
    return next((one.newest.run_id for one in standing if one.is_waiting and one.newest and one.newest.run_id), None)


@require_safe
def export(request: HttpRequest, kind: str, name: str) -> HttpResponse:
    reader = reader_of(request)
    asked = period_named(kind, name, reader.today)
    lines = [line_of(one, asked) for one in standings(request, reader.buildings, asked) if one.newest]
    return csv_answer(lines, f"adherence-{asked.name}.csv")


def line_of(standing: Standing, asked: Period) -> Line:
    building = standing.building
    return Line(
        region=building.region.name,
        building=building.name,
        period=asked.name,
        starts_at=asked.starts_at(building.zone).astimezone(building.zone),
        ends_at=asked.ends_at(building.zone).astimezone(building.zone),
        as_of=standing.as_of,
        state=standing.state,
        figures=standing.figures,
    )


def csv_answer(lines: list[Line], file_name: str) -> HttpResponse:
    answer = HttpResponse(adherence_csv(lines), content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = f'attachment; filename="{file_name}"'
    return answer
