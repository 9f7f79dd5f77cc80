"""Changing a resident: the facts staff work by, the agreement, holds and absences."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from program.access import require
from program.actions.residents import change_resident, withdraw_agreement
from program.actions.safety import AWAY_REASONS, HOSPITAL, end_hold, set_hold
from program.models import Escort, Help, Hold, Resident, Unit
from program.pages.residents import one_resident
from program.rules.week import date_and_time
from program.web.forms import DayInput, EditForm, FormPage, MomentInput, PlainForm, answer_form
from program.web.frame import local_now
from program.web.viewing import viewed

NOTES = 6
REVIEW_FOLLOWS = "An exercise hold (review after hospital) begins then; a clinician releases it."


class ResidentForm(EditForm):
    given_name = forms.CharField(max_length=80)
    family_name = forms.CharField(max_length=80)
    date_of_birth = forms.DateField(widget=DayInput())
    unit = forms.ModelChoiceField(Unit.objects.none(), empty_label=None)
    room = forms.CharField(max_length=20, required=False)
    bed = forms.CharField(max_length=20, required=False)
    help_sixths = forms.TypedChoiceField(label="Help at the stations", choices=Help.choices, coerce=int)
    escort_people = forms.TypedChoiceField(label="How they come", choices=Escort.choices, coerce=int)
    escort_minutes = forms.IntegerField(
        label="Minutes each way", min_value=0, max_value=60, help_text="0 for somebody who comes alone."
    )
    preferred_half = forms.ChoiceField(
        label="Prefers", choices=[("", "no preference"), *Resident.Half.choices], required=False
    )
    helper_notes = forms.CharField(
        label="Before you start",
        widget=forms.Textarea,
        required=False,
        help_text="What a helper must see: at most six lines of 80 letters.",
    )

    def clean_helper_notes(self) -> list[str]:
        lines = [line.strip() for line in self.cleaned_data["helper_notes"].splitlines() if line.strip()]
        if len(lines) > NOTES or any(len(line) > 80 for line in lines):
            raise forms.ValidationError("At most six lines of 80 letters: a helper must read them at a glance.")
        return lines


class AgreementForm(EditForm):
    is_sure = forms.BooleanField(label="The resident, or who speaks for them, has withdrawn the agreement")


class HoldForm(PlainForm):
    reason = forms.CharField(max_length=120, help_text="For example: chest infection.")
    starts_at = forms.DateTimeField(label="From", widget=MomentInput())
    ends_at = forms.DateTimeField(
        label="Until", widget=MomentInput(), required=False, help_text="Leave empty until a clinician releases it."
    )


class AwayForm(HoldForm):
    reason = forms.ChoiceField(choices=[(reason, reason) for reason in AWAY_REASONS])
    ends_at = forms.DateTimeField(
        label="Back", widget=MomentInput(), required=False, help_text="Leave empty if nobody knows yet."
    )


class EndHoldForm(EditForm):
    ends_at = forms.DateTimeField(label="Ends", widget=MomentInput())
    note = forms.CharField(max_length=300, required=False)


def page_of(resident: Resident) -> str:
    return reverse("program:resident", args=[resident.building_id, resident.pk])


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, building_id: int, resident_id: int) -> HttpResponse:
    resident = one_resident(request, building_id, resident_id)
    require(request.user, "change residents", resident.building)
    names = [name for name in ResidentForm.base_fields if name != "helper_notes"]
    initial: dict[str, Any] = {name: getattr(resident, name) for name in names}
    form = ResidentForm(request.POST or None, initial=initial | {"helper_notes": "\n".join(resident.helper_notes)})
    form.fields["unit"].queryset = Unit.objects.visible_to(request.user).of(resident.building).order_by("name")
    viewed(request, "resident", [resident])
    page = FormPage(f"Change {resident.name}", "Save", page_of(resident), more={"row": resident})
    return answer_form(request, form, page, lambda fields: change_resident(resident=resident, **fields), "Saved.")


@require_http_methods(["GET", "POST"])
def agreement(request: HttpRequest, building_id: int, resident_id: int) -> HttpResponse:
    resident = one_resident(request, building_id, resident_id)
    require(request.user, "change residents", resident.building)
    viewed(request, "resident", [resident])
    page = FormPage(
        f"Agreement of {resident.name} withdrawn",
        "Enter the withdrawal",
        page_of(resident),
        lede="All sessions that are still to come are taken off the plan. Nobody is asked for a reason.",
        more={"row": resident},
    )
    form = AgreementForm(request.POST or None, initial={"version": resident.version})
    return answer_form(
        request,
        form,
        page,
        lambda fields: withdraw_agreement(resident=resident, by=request.user, version=fields["version"]),
        "The withdrawal is entered, and the sessions to come are off the plan.",
    )


@require_http_methods(["GET", "POST"])
def hold(request: HttpRequest, building_id: int, resident_id: int, kind: str) -> HttpResponse:
    resident = one_resident(request, building_id, resident_id)
    require(request.user, "set a hold", resident.building)
    viewed(request, "resident", [resident])
    is_away = kind == Hold.Kind.AWAY
    form = (AwayForm if is_away else HoldForm)(
        request.POST or None, initial={"starts_at": local_now(resident.building).replace(second=0, microsecond=0)}
    )
    page = FormPage(
        f"{resident.name} is away" if is_away else f"Exercise hold for {resident.name}",
        "Enter the absence" if is_away else "Set the hold",
        page_of(resident),
        lede=_what_is_taken_off(is_away),
        is_clinical=not is_away,
    )
    return answer_form(
        request,
        form,
        page,
        lambda fields: _entered(set_hold(resident=resident, kind=kind, by=request.user, **fields)),
        "{done}",
    )


@require_http_methods(["GET", "POST"])
def hold_ends(request: HttpRequest, building_id: int, resident_id: int, hold_id: int) -> HttpResponse:
    resident = one_resident(request, building_id, resident_id)
    held = get_object_or_404(Hold.objects.visible_to(request.user).filter(resident=resident), pk=hold_id)
    is_away = held.kind == Hold.Kind.AWAY
    require(request.user, "set a hold" if is_away else "release an exercise hold", resident.building)
    viewed(request, "resident", [resident])
    initial = {"version": held.version, "ends_at": local_now(resident.building).replace(second=0, microsecond=0)}
    page = FormPage(
        f"{resident.name} is back" if is_away else f"Release {resident.name}",
        "They are back" if is_away else "Release",
        page_of(resident),
        lede=_what_follows(held),
        is_clinical=not is_away,
        more={"row": held},
    )
    return answer_form(
        request,
        EndHoldForm(request.POST or None, initial=initial),
        page,
        lambda fields: _ended(end_hold(hold=held, by=request.user, **fields)),
        "{done}",
    )


def _what_is_taken_off(is_away: bool) -> str:
    taken_off = "Sessions booked inside this time are taken off the plan."
    return f"{taken_off} Back from hospital: {REVIEW_FOLLOWS[0].lower()}{REVIEW_FOLLOWS[1:]}" if is_away else taken_off


def _entered(held: Hold) -> str:
    if held.kind != Hold.Kind.AWAY:
        return "The hold is set."
    is_back_known = held.reason == HOSPITAL and held.ends_at is not None
    when = f" Back {date_and_time(held.ends_at, held.building.zone)}. {REVIEW_FOLLOWS}" if is_back_known else ""
    return f"The absence is entered.{when}"


def _ended(held: Hold) -> str:
    if held.kind != Hold.Kind.AWAY:
        return "The hold is released."
    when = date_and_time(held.ends_at, held.building.zone)
    return f"The absence ends {when}. {REVIEW_FOLLOWS}" if held.reason == HOSPITAL else f"The absence ends {when}."


def _what_follows(held: Hold) -> str:
    if held.kind == Hold.Kind.AWAY and held.reason == HOSPITAL:
        return REVIEW_FOLLOWS
    return f"Since {held.starts_at.astimezone(held.building.zone):%d %b %H:%M}: {held.reason}."
