"""Files that are read: uploaded, judged line by line, looked at, and only then applied."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from program.access import require
from program.actions.imports import apply_import, judge_file
from program.importing.blank import blank_residents_csv, blank_residents_workbook, blank_workbook
from program.models import Building, Escort, Help, Import, Resident
from program.rules.errors import Refused
from program.rules.week import WEEKDAYS
from program.web.forms import FormPage, PlainForm, in_words, refuse_form, show_form, what_is_wrong
from program.web.frame import building_here
from program.web.scope import status_of
from program.web.viewing import viewed

SHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
BLANKS = {
    "residents.csv": (blank_residents_csv, "text/csv; charset=utf-8"),
    "residents.xlsx": (blank_residents_workbook, SHEET),
    "building.xlsx": (blank_workbook, SHEET),
}
LATEST = 20
MOST_LINES = 12
# What is looked at before it is applied, and its icon.
SIGNS = {"new": "plus", "changed": "pencil"}


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


FIELDS_SAID = {"help_sixths": "help", "escort_people": "how they come", "escort_minutes": "minutes each way"}
VALUES_SAID: dict[str, dict[Any, str]] = {"help_sixths": dict(Help.choices), "escort_people": dict(Escort.choices)}


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
        keys = {row["resident"] for row in imported.rows if row.get("resident")}
        here = Resident.objects.visible_to(request.user).filter(building=imported.building_id, key__in=keys)
        viewed(request, "import", here)
        return render(request, "program/import.html", _shown(imported))
    version = request.POST.get("version", "")
    try:
        with transaction.atomic():
            done = apply_import(imported=imported, by=request.user, version=int(version) if version.isdecimal() else 0)
    except Refused as refusal:
        imported.refresh_from_db()
        context = _shown(imported) | {"refusal": refusal.sentence}
        return render(request, "program/import.html", context, status=status_of(refusal))
    if imported.kind == Import.Kind.BUILDING:
        # From here on it belongs to those who work there: an administrator sees no more of it.
        messages.success(
            request, f"{done.building.name} has been started. Its people can now be given their passwords."
        )
        return redirect("program:home")
    messages.success(request, "Applied.")
    return redirect(address, *before, imported.pk)


def _shown(imported: Import) -> dict[str, Any]:
    counts = {name: imported.counts.get(name, 0) for name in ("new", "changed", "unchanged", "refused")}
    is_applied = imported.state == Import.State.APPLIED
    is_building = imported.kind == Import.Kind.BUILDING
    look, apply = ("done", "done") if is_applied else ("now", "next")
    return {
        "imported": imported,
        "is_applied": is_applied,
        "is_building": is_building,
        "steps": [("Read", "done"), ("Look at it", look), ("Apply", apply)],
        "counts": counts,
        "to_write": counts["new"] + counts["changed"],
        # A building begins whole or not at all.
        "can_apply": counts["new"] + counts["changed"] > 0 and not (is_building and imported.refusals),
        "rows": [_row_said(row) for row in imported.rows if row["what"] in SIGNS],
        "refusals": _refusals_said(imported.refusals),
        "notes": [row for row in imported.rows if row["what"] == "note"],
        "back": reverse("program:start-building")
        if is_building
        else reverse("program:imports", args=[imported.building_id]),
    }


def _refusals_said(refusals: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What is wrong, each once, with all the lines on which it is wrong."""
    lines: dict[tuple[str, str, str], list[int]] = {}
    for one in refusals:
        lines.setdefault((one.get("sheet", ""), one["field"], one["sentence"]), []).append(one["line"])
    return [
        {"where": ": ".join(filter(None, (sheet, field))), "sentence": sentence, "lines": _lines_said(found)}
        for (sheet, field, sentence), found in lines.items()
    ]


def _lines_said(lines: list[int]) -> str:
    if lines == [0]:
        return "the file"
    shown = ", ".join(str(line) for line in lines[:MOST_LINES])
    rest = len(lines) - MOST_LINES
    return f"line{'s' if len(lines) > 1 else ''} {shown}{f' and {rest} more' if rest > 0 else ''}"


def _row_said(row: dict[str, Any]) -> dict[str, Any]:
    """A judged row in words: who it is about, and each field as it was and becomes."""
    changes = [
        (
            FIELDS_SAID.get(change["field"], change["field"].replace("_", " ")),
            *(_value_said(change["field"], change[side]) for side in ("was", "becomes")),
        )
        for change in row["changes"]
    ]
    return {
        "line": row["line"],
        "what": row["what"],
        "sign": SIGNS[row["what"]],
        "named": _named(row),
        "changes": changes,
    }


def _value_said(field: str, value: Any) -> str:
    return VALUES_SAID[field].get(value, in_words(value)) if field in VALUES_SAID else in_words(value)


def _named(row: dict[str, Any]) -> str:
    values = row.get("values") or {}
    if "resident" in values:
        person = values["resident"]
        return f"{person['family_name']}, {person['given_name']} ({row['resident']})"
    if "kind" in values and "resident" in row:
        return f"{values.get('title') or values['kind']}, for {row['resident']}"
    day = WEEKDAYS[values["weekday"]] if "weekday" in values else ""
    return " ".join(filter(None, (f"{row.get('sheet', '')}:", day, str(row.get("name", "")))))


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
