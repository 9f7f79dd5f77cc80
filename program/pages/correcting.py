"""Taking back what was written by mistake: the line stays, and counts no longer."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from program.access import require
from program.actions.records import TAKEN_BACK, take_back_lines
from program.models import Record, Session, Set
from program.pages.session_shown import found
from program.pages.session_told import set_said
from program.rules.week import clock_time
from program.web.forms import FormPage, PlainForm, answer_form
from program.web.viewing import viewed


class MistakesForm(PlainForm):
    records = forms.ModelMultipleChoiceField(
        Record.objects.none(), label="What happened", required=False, widget=forms.CheckboxSelectMultiple
    )
    sets = forms.ModelMultipleChoiceField(
        Set.objects.none(), label="Sets", required=False, widget=forms.CheckboxSelectMultiple
    )
    because = forms.CharField(label="Why was it a mistake?", max_length=200)

    def __init__(self, *values: Any, shown: Session, **options: Any) -> None:
        super().__init__(*values, **options)
        zone = shown.building.zone
        self.fields["records"].queryset = shown.records.counting().filter(kind__in=TAKEN_BACK).order_by("happened_at")
        self.fields["records"].label_from_instance = lambda line: (
            f"{clock_time(line.happened_at, zone)} {line.kind}{f': {line.reason}' if line.reason else ''}"
        )
        self.fields["sets"].queryset = shown.sets.counting().select_related("station").order_by("ended_at")
        self.fields["sets"].label_from_instance = lambda done: (
            f"{clock_time(done.ended_at, zone)} {done.exercise} at {done.station.name}: {set_said(done)}"
        )
        for name in ("records", "sets"):
            if not self.fields[name].queryset.exists():
                del self.fields[name]


@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    shown = found(request, building_id, session_id)
    require(request.user, "correct records", shown.building)
    viewed(request, "session", [shown.resident])
    form = MistakesForm(request.POST if request.method == "POST" else None, shown=shown)
    page = FormPage(
        heading=f"Take back what was a mistake: {shown.resident.name}",
        button="Take back what is ticked",
        back=reverse("program:session", args=[building_id, session_id]),
        lede="It stays on record with who, when and why, and counts no longer. Then write down what is right.",
    )

    def act(typed: dict[str, Any]) -> Session:
        ticked = {name: list(typed.get(name, ())) for name in ("records", "sets")}
        return take_back_lines(session=shown, because=typed["because"], by=request.user, **ticked)

    return answer_form(request, form, page, act, "Taken back. Write down what is right.")
