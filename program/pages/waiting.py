"""Waiting for a clinician: incidents that nobody has seen, exercise holds that are open, clearances that end."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from program import clock
from program.access import require
from program.actions.incidents import see_incident
from program.models import Building, Hold, Incident, Resident
from program.rules.errors import Refused
from program.web.forms import EditForm, what_is_wrong
from program.web.frame import building_here
from program.web.scope import status_of
from program.web.standing import only_those_who, with_standing
from program.web.viewing import viewed

CLEARANCES = (("no-clearance", "without a valid clearance"), ("expiring", "with a clearance that ends within 30 days"))


class SeenForm(EditForm):
    note = forms.CharField(label="What you decided", max_length=300, required=False)


@require_safe
def waiting(request: HttpRequest, building_id: int) -> HttpResponse:
    return render(request, "program/waiting.html", _shown(request, _deciding_here(request, building_id)))


@require_POST
def seen(request: HttpRequest, building_id: int, incident_id: int) -> HttpResponse:
    # What is elsewhere does not exist, whatever one may do here.
    building = building_here(request, building_id)
    incident = get_object_or_404(_incidents(request, building), pk=incident_id)
    require(request.user, "see to incidents", building)
    form = SeenForm(request.POST, prefix=_prefix(incident))
    try:
        if not form.is_valid():
            return _again(request, building, form, what_is_wrong(form), 422)
        with transaction.atomic():
            see_incident(incident=incident, by=request.user, **form.cleaned_data)
    except Refused as refusal:
        return _again(request, building, form, refusal.sentence, status_of(refusal))
    said = f"Seen: {incident.sign}, {incident.resident.name}."
    messages.success(request, f"{said} The exercise hold stays until a clinician releases it.")
    return redirect("program:waiting", building.pk)


def _deciding_here(request: HttpRequest, building_id: int) -> Building:
    building = building_here(request, building_id)
    require(request.user, "see to incidents", building)
    return building


def _prefix(incident: Incident) -> str:
    return f"incident-{incident.pk}"


def _again(request: HttpRequest, building: Building, form: SeenForm, sentence: str, status: int) -> HttpResponse:
    context = _shown(request, building, sent=form) | {"refusal": sentence}
    return render(request, "program/waiting.html", context, status=status)


def _incidents(request: HttpRequest, building: Building) -> QuerySet[Incident]:
    found = Incident.objects.visible_to(request.user).of(building)
    return found.select_related("resident__unit", "done_by", "entered_by", "session")


def _shown(request: HttpRequest, building: Building, sent: SeenForm | None = None) -> dict[str, Any]:
    """Oldest first; `sent` is shown again at its incident, with what was typed."""
    now = clock.now()
    incidents = list(_incidents(request, building).waiting().order_by("happened_at", "pk"))
    staying = Resident.objects.visible_to(request.user).of(building).staying_at(now)
    holds = list(
        Hold.objects.visible_to(request.user)
        .of(building)
        .holding_at(now)
        .filter(kind=Hold.Kind.CLINICAL, resident__in=staying)
        .select_related("resident__unit", "set_by")
        .order_by("starts_at", "pk")
    )
    viewed(request, "waiting", {one.resident for one in [*incidents, *holds]})
    return {
        "incidents": [(incident, _form_of(incident, sent)) for incident in incidents],
        "holds": holds,
        "clearances": [
            (which, count, words)
            for which, words in CLEARANCES
            if (count := only_those_who(with_standing(staying, building), which, building).count())
        ],
    }


def _form_of(incident: Incident, sent: SeenForm | None) -> SeenForm:
    if sent is not None and sent.prefix == _prefix(incident):
        # Whoever has read what stands there now may decide upon it.
        sent.data = sent.data.copy()
        sent.data[sent.add_prefix("version")] = incident.version
        return sent
    return SeenForm(prefix=_prefix(incident), initial={"version": incident.version})
