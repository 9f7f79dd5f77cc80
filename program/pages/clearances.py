"""Clearances: whose has ended or ends soon, and one entered for many residents at once."""

from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from program import clock
from program.access import require
from program.actions.safety import enter_clearance
from program.models import Building, Resident, Unit
from program.web.forms import DayInput, FormPage, PlainForm, answer_form
from program.web.frame import building_here, local_now
from program.web.standing import by_name, only_those_who, with_standing
from program.web.viewing import viewed

WHICH = {"": "everyone", "no-clearance": "those without a valid one", "expiring": "those ending within 30 days"}


class ClearanceForm(PlainForm):
    residents = forms.ModelMultipleChoiceField(Resident.objects.none(), widget=forms.MultipleHiddenInput)
    given_by = forms.CharField(label="Given by", max_length=120, help_text="The licensed clinician's name.")
    credential = forms.CharField(max_length=60, help_text="For example: physician.")
    given_on = forms.DateField(label="Given on", widget=DayInput())
    until_on = forms.DateField(label="Valid until", widget=DayInput(), help_text="That day counts.")
    limits = forms.CharField(
        max_length=1000,
        widget=forms.Textarea,
        required=False,
        help_text="What must not be done, in words staff can follow.",
    )

    def clean_residents(self) -> list[Resident]:
        return list(self.cleaned_data["residents"])


@require_http_methods(["GET", "POST"])
def clearances(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    asked = {name: request.GET.get(name, "") for name in ("unit", "which")}
    rows = sorted(_asked_for(request, building, asked), key=lambda one: (one.cleared_until or date.min, by_name(one)))
    form = ClearanceForm(request.POST or None, initial={"given_on": local_now(building).date()})
    form.fields["residents"].queryset = Resident.objects.visible_to(request.user).of(building)
    form.fields["residents"].error_messages["required"] = "Choose at least one resident."
    if request.method == "POST":
        require(request.user, "enter clearances", building)
    viewed(request, "clearances", rows)
    context = {
        "rows": [(resident, _said(resident.cleared_until, local_now(building).date())) for resident in rows],
        "chosen": set(request.POST.getlist("residents") or request.GET.getlist("resident")),
        "asked": asked,
        "which": WHICH,
        "units": Unit.objects.visible_to(request.user).of(building).order_by("name"),
        "fields": [form[name] for name in form.fields if name != "residents"],
        "is_narrowed": any(asked.values()),
    }
    page = FormPage(
        "Clearances",
        "Enter for those chosen",
        reverse("program:clearances", args=[building.pk]),
        template="program/clearances.html",
        more=context,
    )
    return answer_form(
        request,
        form,
        page,
        lambda fields: _for_how_many(len(enter_clearance(by=request.user, **fields))),
        "Entered for {done}.",
    )


def _for_how_many(count: int) -> str:
    return "1 resident" if count == 1 else f"{count} residents"


def _asked_for(request: HttpRequest, building: Building, asked: dict[str, Any]) -> QuerySet[Resident]:
    staying = Resident.objects.visible_to(request.user).of(building).staying_at(clock.now())
    found = with_standing(staying, building).select_related("unit")
    if asked["unit"].isdecimal():
        found = found.filter(unit=int(asked["unit"][:9]))
    return only_those_who(found, asked["which"], building)


def _said(until: date | None, today: date) -> tuple[str, str]:
    if until is None:
        return "stop", "None"
    days = (until - today).days
    if days < 0:
        return "stop", f"Ended {until.day} {until:%b %Y}"
    words = f"Until {until.day} {until:%b %Y}"
    return ("wait", f"{words}, {days} days left") if days <= 30 else ("ok", words)
