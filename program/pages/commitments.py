"""A resident's calendar: what else they do, once or every week, added, changed and ended by hand."""

from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from program.access import require
from program.actions.calendars import add_commitment, change_commitment, end_commitment
from program.models import Commitment, Resident
from program.pages.residents import one_resident
from program.web.forms import ClockInput, DayInput, EditForm, FormPage, PlainForm, answer_form
from program.web.frame import local_now
from program.web.viewing import viewed

WEEKDAYS = [("MO", "Mon"), ("TU", "Tue"), ("WE", "Wed"), ("TH", "Thu"), ("FR", "Fri"), ("SA", "Sat"), ("SU", "Sun")]
CODES = [code for code, _ in WEEKDAYS]


class CommitmentForm(PlainForm):
    kind = forms.ChoiceField(choices=[(kind, kind) for kind in Commitment.Kind.values])
    title = forms.CharField(label="What it is", max_length=120, required=False)
    first_on = forms.DateField(label="On, or first on", widget=DayInput())
    from_time = forms.TimeField(label="From", widget=ClockInput())
    until_time = forms.TimeField(label="Until", widget=ClockInput())
    weekdays = forms.MultipleChoiceField(
        label="Every week on",
        choices=WEEKDAYS,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Choose none if it happens once.",
    )
    last_on = forms.DateField(label="Last on", widget=DayInput(), required=False)
    is_movable = forms.BooleanField(label="Can move for a strength session", required=False)

    def clean(self) -> dict[str, Any]:
        fields = super().clean()
        starts, ends = fields.get("from_time"), fields.get("until_time")
        if starts and ends and ends <= starts:
            self.add_error("until_time", "The end must come after the start.")
        first, last = fields.get("first_on"), fields.get("last_on")
        if first and last and last < first:
            self.add_error("last_on", "The last day cannot be before the first.")
        return fields

    def as_written(self) -> dict[str, Any]:
        """The fields of a commitment, in the terms of RFC 5545."""
        fields = self.cleaned_data
        first = _first_of(fields["first_on"], fields["weekdays"])
        starts = datetime.combine(first, fields["from_time"])
        length = datetime.combine(first, fields["until_time"]) - starts
        return {
            "kind": fields["kind"],
            "title": fields["title"],
            "is_movable": fields["is_movable"],
            "starts": starts.isoformat(timespec="seconds"),
            "minutes": length // timedelta(minutes=1),
            "rrule": _rule(fields["weekdays"], fields["last_on"]),
        }


class ChangeCommitmentForm(CommitmentForm, EditForm):
    pass


def _first_of(day: date, codes: list[str]) -> date:
    """The first day from `day` on that the weekly rule holds: a rule begins on a day it names."""
    if not codes:
        return day
    return next(one for offset in range(7) if CODES[(one := day + timedelta(days=offset)).weekday()] in codes)


def _rule(codes: list[str], last_on: date | None) -> str:
    if not codes:
        return ""
    until = f";UNTIL={last_on:%Y%m%d}T235959" if last_on else ""
    return f"FREQ=WEEKLY;BYDAY={','.join(codes)}{until}"


def _as_asked(commitment: Commitment) -> dict[str, Any] | None:
    """The fields of the form; None for a rule that this form cannot say."""
    parts = dict(part.split("=", 1) for part in commitment.rrule.split(";") if "=" in part)
    if set(parts) - {"FREQ", "BYDAY", "UNTIL"} or parts.get("FREQ", "WEEKLY") != "WEEKLY" or commitment.is_all_day:
        return None
    codes = parts["BYDAY"].split(",") if parts.get("BYDAY") else []
    starts = datetime.fromisoformat(commitment.starts)
    if set(codes) - set(CODES):
        return None
    if parts and not codes:
        codes = [CODES[starts.weekday()]]
    until = parts.get("UNTIL", "")[:8]
    return {
        "version": commitment.version,
        "kind": commitment.kind,
        "title": commitment.title,
        "first_on": starts.date(),
        "from_time": starts.time(),
        "until_time": (starts + timedelta(minutes=commitment.minutes)).time(),
        "weekdays": codes,
        "last_on": date.fromisoformat(until) if until else None,
        "is_movable": commitment.is_movable,
    }


def _page_of(resident: Resident) -> str:
    return reverse("program:resident", args=[resident.building_id, resident.pk]) + "#calendar"


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest, building_id: int, resident_id: int) -> HttpResponse:
    resident = one_resident(request, building_id, resident_id)
    require(request.user, "change calendars", resident.building)
    viewed(request, "resident", [resident])
    initial = {"first_on": local_now(resident.building).date(), "from_time": time(10), "until_time": time(11)}
    form = CommitmentForm(request.POST or None, initial=initial)
    page = FormPage(f"Add to the calendar of {resident.name}", "Add", _page_of(resident))
    return answer_form(
        request,
        form,
        page,
        lambda _: add_commitment(
            resident=resident, timezone=resident.building.timezone, by=request.user, **form.as_written()
        ),
        "Added to the calendar.",
    )


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, building_id: int, resident_id: int, commitment_id: int) -> HttpResponse:
    resident, commitment = _commitment(request, building_id, resident_id, commitment_id)
    asked = _as_asked(commitment)
    form = ChangeCommitmentForm(request.POST or None, initial=asked or {"version": commitment.version})
    lede = "" if asked else "Its rule comes from a file and says more than this form can: what you enter replaces it."
    page = FormPage("Change what is in the calendar", "Save", _page_of(resident), lede=lede, more={"row": commitment})
    return answer_form(
        request,
        form,
        page,
        lambda fields: change_commitment(
            commitment=commitment, version=fields["version"], by=request.user, **form.as_written()
        ),
        "The calendar is changed.",
    )


@require_http_methods(["GET", "POST"])
def end(request: HttpRequest, building_id: int, resident_id: int, commitment_id: int) -> HttpResponse:
    resident, commitment = _commitment(request, building_id, resident_id, commitment_id)
    page = FormPage(
        f"End “{commitment.title or commitment.kind}”",
        "End it now",
        _page_of(resident),
        lede="It blocks nothing from now on. What was before stays in the calendar.",
        more={"row": commitment},
    )
    form = EditForm(request.POST or None, initial={"version": commitment.version})
    return answer_form(
        request,
        form,
        page,
        lambda fields: end_commitment(commitment=commitment, by=request.user, version=fields["version"]),
        "It has ended.",
    )


def _commitment(
    request: HttpRequest, building_id: int, resident_id: int, commitment_id: int
) -> tuple[Resident, Commitment]:
    resident = one_resident(request, building_id, resident_id)
    require(request.user, "change calendars", resident.building)
    viewed(request, "resident", [resident])
    found = Commitment.objects.visible_to(request.user).filter(resident=resident, ended_at__isnull=True)
    return resident, get_object_or_404(found, pk=commitment_id)
