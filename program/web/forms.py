"""How a form is shown, refused with everything typed kept, and answered with a redirect."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.contrib import messages
from django.core.validators import MaxLengthValidator, MaxValueValidator, MinValueValidator
from django.db import models, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from program.models import Audit
from program.rules.errors import Refused, Stale
from program.web.scope import status_of

SENTENCES = {
    MinValueValidator: "At least %(limit_value)s.",
    MaxValueValidator: "At most %(limit_value)s.",
    MaxLengthValidator: "At most %(limit_value)d letters; this has %(show_value)d.",
}
UNSHOWN = {"version", "id", "building_id", "entered_at", "entered_by_id"}


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **attributes: Any) -> None:
        super().__init__(attrs=attributes, format="%Y-%m-%d")


class ClockInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, **attributes: Any) -> None:
        super().__init__(attrs=attributes, format="%H:%M")


class MomentInput(forms.DateTimeInput):
    """A day and a clock time; both are the building's."""

    input_type = "datetime-local"

    def __init__(self, **attributes: Any) -> None:
        super().__init__(attrs=attributes, format="%Y-%m-%dT%H:%M")


class PlainForm(forms.Form):
    """Marks what is wrong without colour alone, and asks for nothing the browser would judge in its own words."""

    error_css_class = "refused"
    use_required_attribute = False

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, label_suffix="", **options)
        for asked in self.fields.values():
            asked.error_messages["required"] = "Fill this in."
            for validator in asked.validators:
                if type(validator) in SENTENCES:
                    validator.message = SENTENCES[type(validator)]


class EditForm(PlainForm):
    """Names the version that it changes."""

    version = forms.IntegerField(widget=forms.HiddenInput)


@dataclass
class FormPage:
    """The words around a form: its heading, what its button says, where one goes back to."""

    heading: str
    button: str
    back: str
    lede: str = ""
    template: str = "program/form.html"
    is_clinical: bool = False
    more: dict[str, Any] = field(default_factory=dict)


def answer_form(
    request: HttpRequest, form: forms.Form, page: FormPage, act: Callable[[dict[str, Any]], Any], said: str
) -> HttpResponse:
    """Show the form; or do what it asks and go back with `said`; or show it again with the sentence of the refusal."""
    if request.method != "POST":
        return show_form(request, form, page)
    if not form.is_valid():
        return show_form(request, form, page, status=422, refusal=what_is_wrong(form))
    try:
        with transaction.atomic():
            done = act(form.cleaned_data)
    except Refused as refusal:
        return refuse_form(request, form, page, refusal)
    messages.success(request, said.format(done=done))
    return redirect(page.back)


def show_form(request: HttpRequest, form: forms.Form, page: FormPage, status: int = 200, **more: Any) -> HttpResponse:
    return render(request, page.template, {"form": form, "page": page, **page.more, **more}, status=status)


def what_is_wrong(form: forms.Form) -> str:
    """One sentence: the fields to look at, or what is wrong with them together."""
    if together := form.non_field_errors():
        return str(together[0])
    if len(form.errors) == 1:
        name, errors = next(iter(form.errors.items()))
        return str(errors[0]) if form[name].is_hidden else f"{form[name].label}: {errors[0]}"
    return f"Nothing was saved yet. Please correct: {', '.join(str(form[name].label) for name in form.errors)}."


def refuse_form(request: HttpRequest, form: forms.Form, page: FormPage, refusal: Refused) -> HttpResponse:
    for error in refusal.details.get("errors", ()):
        if error["field"] in form.fields:
            form.add_error(error["field"], error["sentence"])
    more: dict[str, Any] = {"refusal": refusal.sentence}
    if isinstance(refusal, Stale):
        seen = form.cleaned_data.get("version")
        more["changes"] = changes_since(page.more.get("row"), seen)
        # Whoever has read what changed may save over it: the next try names the newest version.
        form.data = form.data.copy()
        form.data[form.add_prefix("version")] = refusal.details["current_version"]
    return show_form(request, form, page, status=status_of(refusal), **more)


def changes_since(row: models.Model | None, version: int | None) -> list[str]:
    """What others have changed in a row after `version`, in words, from the trail."""
    if row is None or version is None:
        return []
    noun = row._meta.model_name
    newer = Audit.objects.filter(noun=noun, row_id=str(row.pk), action="update", after__version__gt=version)
    return [
        f"{name.removesuffix('_id').replace('_', ' ').capitalize()}: was {in_words(line.before.get(name)) or 'empty'}, "
        f"is now {in_words(new) or 'empty'}"
        for line in newer.order_by("happened_at", "pk")
        for name, new in line.after.items()
        if name not in UNSHOWN
    ]


def in_words(value: Any) -> str:
    """A stored value as a person reads it; empty for nothing."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(in_words(one) for one in value)
    if isinstance(value, dict):
        return "; ".join(f"{name.replace('_', ' ')}: {in_words(one) or 'nothing'}" for name, one in value.items())
    return "" if value is None else str(value)
