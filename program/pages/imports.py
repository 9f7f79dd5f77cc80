"""Files that are read: uploaded, judged line by line, looked at, and only then applied."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from program.access import require
from program.actions.imports import apply_import, judge_file
from program.importing.blank import blank_residents_csv, blank_residents_workbook, blank_workbook
from program.models import Building, Import
from program.rules.errors import Refused
from program.web.forms import FormPage, PlainForm, refuse_form, show_form, what_is_wrong
from program.web.frame import building_here
from program.web.scope import status_of

SHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
BLANKS = {
    "residents.csv": (blank_residents_csv, "text/csv; charset=utf-8"),
    "residents.xlsx": (blank_residents_workbook, SHEET),
    "building.xlsx": (blank_workbook, SHEET),
}
LATEST = 20
# How the four judgements of a row are shown: its icon, and the order in which they are looked at.
JUDGEMENTS = {"new": "plus", "changed": "pencil", "unchanged": "minus"}


class FileForm(PlainForm):
    kind = forms.ChoiceField(
        label="What is in it",
        choices=[
            ("residents", "residents, with agreements, clearances and exercise plans (.csv or .xlsx)"),
            ("calendars", "calendars (.ics)"),
        ],
        widget=forms.RadioSelect,
    )
    file = forms.FileField()
    person_key = forms.CharField(
        label="Whose calendar it is",
        max_length=40,
        required=False,
        help_text="Only for a calendar that names no resident inside: the resident's key.",
    )


class WorkbookForm(PlainForm):
    file = forms.FileField(label="The building's workbook (.xlsx)")


@require_http_methods(["GET", "POST"])
def imports(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "import files", building)
    latest = Import.objects.visible_to(request.user).filter(building=building).select_related("entered_by")
    page = FormPage(
        "Imports",
        "Read the file",
        "",
        template="program/imports.html",
        more={"latest": latest.defer("rows", "refusals").order_by("-entered_at", "-pk")[:LATEST]},
    )
    form = FileForm(request.POST or None, request.FILES or None, initial={"kind": "residents"})
    return _read_file(request, form, page, building)


@require_http_methods(["GET", "POST"])
def start_building(request: HttpRequest) -> HttpResponse:
    require(request.user, "start a building", None)
    page = FormPage("Start a building", "Read the workbook", "", template="program/start_building.html")
    form = WorkbookForm(request.POST or None, request.FILES or None)
    return _read_file(request, form, page, None)


def _read_file(request: HttpRequest, form: forms.Form, page: FormPage, building: Building | None) -> HttpResponse:
    if request.method != "POST":
        return show_form(request, form, page)
    form.is_bound, form.data, form.files = True, request.POST, request.FILES
    if not form.is_valid():
        return show_form(request, form, page, status=422, refusal=what_is_wrong(form))
    fields = form.cleaned_data
    try:
        with transaction.atomic():
            judged = judge_file(
                kind=fields.get("kind", "building"),
                content=fields["file"].read(),
                file_name=fields["file"].name,
                by=request.user,
                building=building,
                person_key=fields.get("person_key") or None,
            )
    except Refused as refusal:
        return refuse_form(request, form, page, refusal)
    return redirect("program:import", building.pk, judged.pk) if building else redirect("program:start", judged.pk)


@require_http_methods(["GET", "POST"])
def one_import(request: HttpRequest, building_id: int, import_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "import files", building)
    found = Import.objects.visible_to(request.user).filter(building=building).select_related("entered_by", "applied_by")
    return _preview(request, get_object_or_404(found, pk=import_id), "program:import", building.pk)


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest, import_id: int) -> HttpResponse:
    require(request.user, "start a building", None)
    found = Import.objects.visible_to(request.user).filter(kind=Import.Kind.BUILDING, entered_by=request.user)
    return _preview(request, get_object_or_404(found, pk=import_id), "program:start")


def _preview(request: HttpRequest, imported: Import, address: str, *before: int) -> HttpResponse:
    if request.method != "POST":
        return render(request, "program/import.html", _shown(imported))
    version = request.POST.get("version", "")
    try:
        with transaction.atomic():
            apply_import(imported=imported, by=request.user, version=int(version) if version.isdecimal() else None)
    except Refused as refusal:
        imported.refresh_from_db()
        context = _shown(imported) | {"refusal": refusal.sentence}
        return render(request, "program/import.html", context, status=status_of(refusal))
    messages.success(request, "Applied.")
    return redirect(address, *before, imported.pk)


def _shown(imported: Import) -> dict[str, Any]:
    rows = sorted(imported.rows, key=lambda row: list(JUDGEMENTS).index(row["what"]))
    counts = {name: imported.counts.get(name, 0) for name in ("new", "changed", "unchanged", "refused")}
    return {
        "imported": imported,
        "is_applied": imported.state == Import.State.APPLIED,
        "counts": counts,
        "to_write": counts["new"] + counts["changed"],
        "rows": [(row, JUDGEMENTS[row["what"]]) for row in rows if row["what"] != "unchanged"],
        "unchanged": counts["unchanged"],
        "back": "program:start-building" if imported.kind == Import.Kind.BUILDING else "program:imports",
    }


@require_safe
def blank(request: HttpRequest, building_id: int, file_name: str) -> HttpResponse:
    building_here(request, building_id)
    return _blank(file_name)


@require_safe
def blank_building(request: HttpRequest) -> HttpResponse:
    require(request.user, "start a building", None)
    return _blank("building.xlsx")


def _blank(file_name: str) -> HttpResponse:
    if file_name not in BLANKS:
        raise Http404
    make, content_type = BLANKS[file_name]
    return HttpResponse(
        make(), content_type=content_type, headers={"Content-Disposition": f'attachment; filename="{file_name}"'}
    )
