"""Places: when the circuit is open, meals, stations, closures, and the rules the building runs by."""

from datetime import datetime
from typing import Any

from django import forms
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from program import clock
from program.access import require
from program.actions.places import (
    add_hours,
    add_station,
    change_building,
    change_station,
    close,
    end_closure,
    remove_hours,
)
from program.models import Building, Closure, Hours, LoadUnit, Station, Unit
from program.pages.residents import plainly
from program.pages.shifts import SpanForm
from program.rules.week import WEEKDAYS
from program.web.forms import EditForm, FormPage, MomentInput, PlainForm, answer_form
from program.web.frame import building_here, local_now

NUMBERED_WEEKDAYS = list(enumerate(WEEKDAYS))


class RulesForm(EditForm):
    rest_after_meal_minutes = forms.IntegerField(
        label="Rest after a meal, minutes", help_text="Set by a clinician of the building."
    )
    margin_minutes = forms.IntegerField(
        label="Margin around what is in the calendar, minutes",
        help_text="Each side. Set by a clinician of the building.",
    )
    buffer_turns = forms.IntegerField(
        label="Planning buffer, in steps",
        help_text="Added to the recovery of 48 hours or more, so that ending late costs nothing.",
    )
    max_wait_turns = forms.IntegerField(label="Longest wait between two stations, in steps", help_text="0 or 1.")
    grace_minutes = forms.IntegerField(label="A session is late after, minutes")
    overdue_hours = forms.IntegerField(label="A resident is overdue after, hours")
    skips_closed_stations = forms.BooleanField(
        label="Sessions go on without a station that is out of order", required=False
    )


RULES = [name for name in RulesForm.base_fields if name != "version"]


class ClosureForm(PlainForm):
    what = forms.ChoiceField(label="What is closed")
    reason = forms.ChoiceField(choices=[(reason, reason) for reason in Closure.Reason.values])
    starts_at = forms.DateTimeField(label="From", widget=MomentInput())
    ends_at = forms.DateTimeField(
        label="Until", widget=MomentInput(), required=False, help_text="Leave empty if nobody knows yet."
    )
    note = forms.CharField(max_length=200, required=False)


class EndClosureForm(EditForm):
    ends_at = forms.DateTimeField(label="Open again", widget=MomentInput())


class HoursForm(SpanForm):
    kind = forms.ChoiceField(choices=[("open", "the circuit is open"), ("meal", "a meal")], label="What")
    name = forms.CharField(max_length=40, required=False, help_text="For a meal: which one.")
    unit = forms.ModelChoiceField(
        Unit.objects.none(),
        required=False,
        empty_label="the whole building",
        help_text="Only meals may be a unit's own.",
    )
    weekdays = forms.TypedMultipleChoiceField(
        label="On", choices=NUMBERED_WEEKDAYS, coerce=int, widget=forms.CheckboxSelectMultiple
    )
    field_order = ("kind", "name", "unit", "weekdays", "starts", "ends")


class StationForm(PlainForm):
    name = forms.CharField(max_length=60)
    exercise = forms.CharField(max_length=60, help_text="What is done here.")
    position = forms.IntegerField(label="Place in the row", min_value=0, max_value=99)
    load_unit = forms.ChoiceField(label="Loads are in", choices=[(unit, unit) for unit in LoadUnit.values])
    load_step = forms.DecimalField(label="Smallest step", max_digits=7, decimal_places=3)
    lightest = forms.DecimalField(max_digits=7, decimal_places=3)
    heaviest = forms.DecimalField(max_digits=7, decimal_places=3, required=False)


class ChangeStationForm(StationForm, EditForm):
    pass


def _page(building: Building, heading: str, button: str, **more: Any) -> FormPage:
    return FormPage(heading, button, reverse("program:places", args=[building.pk]), **more)


@require_safe
def places(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    weekly = Hours.objects.visible_to(request.user).of(building).select_related("unit")
    hours = list(weekly.order_by("weekday", "starts_minute"))
    closures = (
        Closure.objects.visible_to(request.user)
        .of(building)
        .filter(Q(ends_at__isnull=True) | Q(ends_at__gt=clock.now()))
        .select_related("unit", "station")
        .order_by("starts_at")
    )
    stations = list(Station.objects.visible_to(request.user).of(building).filter(retired_at__isnull=True))
    for station in stations:
        station.step_said = plainly(station.load_step)
    context = {
        "both_weeks": [
            ("Open", "closed", _by_day(hours, Hours.Kind.OPEN)),
            ("Meals", "no meal", _by_day(hours, Hours.Kind.MEAL)),
        ],
        "stations": stations,
        "closures": [(closure, closure.starts_at <= clock.now()) for closure in closures],
        "rules": [_rule_said(building, name) for name in RULES],
    }
    return render(request, "program/places.html", context)


def _rule_said(building: Building, name: str) -> tuple[str, str]:
    """What the rule is about, and its value with its unit; a turn of the circuit is told in minutes."""
    about, value = RulesForm.base_fields[name].label.partition(",")[0], getattr(building, name)
    if isinstance(value, bool):
        return about, "yes" if value else "no"
    if name.endswith("_turns"):
        return about, f"{value * building.turn_minutes} minutes"
    return about, f"{value} {name.rpartition('_')[2]}"


def _by_day(hours: list[Hours], kind: str) -> list[tuple[str, list[tuple[Hours, str, str]]]]:
    those = [row for row in hours if row.kind == kind]
    return [
        (said, [(row, _clock(row.starts_minute), _clock(row.ends_minute)) for row in those if row.weekday == day])
        for day, said in NUMBERED_WEEKDAYS
    ]


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


@require_http_methods(["GET", "POST"])
def rules(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "change places", building)
    form = RulesForm(request.POST or None, initial={name: getattr(building, name) for name in RulesForm.base_fields})
    for name in ("buffer_turns", "max_wait_turns"):
        form.fields[name].label += f" of {building.turn_minutes} minutes"
    lede = "What is published stays where it is; the next roster follows the new rules."
    page = _page(building, "The rules of the building", "Save", lede=lede, is_clinical=True, more={"row": building})
    return answer_form(request, form, page, lambda fields: change_building(building=building, **fields), "Saved.")


@require_http_methods(["GET", "POST"])
def closure(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "report a closure", building)
    now = local_now(building).replace(second=0, microsecond=0)
    form = ClosureForm(request.POST or None, initial={"starts_at": now, "reason": "out of order"})
    stations = Station.objects.visible_to(request.user).of(building).filter(retired_at__isnull=True)
    units = Unit.objects.visible_to(request.user).of(building).order_by("name")
    closable = {f"station-{station.pk}": ("station", station) for station in stations}
    closable |= {f"unit-{unit.pk}": ("unit", unit) for unit in units}
    form.fields["what"].choices = [
        *((key, row.name) for key, (_, row) in closable.items()),
        ("building", "the whole building"),
    ]
    lede = "Sessions that this touches stay published and show it, until you move them."

    def act(fields: dict[str, Any]) -> Closure:
        named = closable.get(fields.pop("what"))
        if named is None or named[0] == "unit":
            require(request.user, "change places", building)
        return close(building=building, by=request.user, **fields, **({named[0]: named[1]} if named else {}))

    return answer_form(
        request, form, _page(building, "Report a closure", "Report it", lede=lede), act, "The closure is reported."
    )


@require_http_methods(["GET", "POST"])
def closure_ends(request: HttpRequest, building_id: int, closure_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    found = Closure.objects.visible_to(request.user).of(building).select_related("unit", "station")
    closed = get_object_or_404(found, pk=closure_id)
    require(request.user, "report a closure" if closed.station else "change places", building)
    form = EndClosureForm(
        request.POST or None, initial={"version": closed.version, "ends_at": _soonest(closed, building)}
    )
    name = closed.station or closed.unit or building
    page = _page(building, f"Open {name} again", "Open again", more={"row": closed})
    return answer_form(request, form, page, lambda fields: end_closure(closure=closed, **fields), "Open again.")


def _soonest(closed: Closure, building: Building) -> datetime:
    return max(local_now(building), closed.starts_at.astimezone(building.zone)).replace(second=0, microsecond=0)


@require_http_methods(["GET", "POST"])
def hours(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "change places", building)
    form = HoursForm(request.POST or None, initial={"starts": "08:00", "ends": "17:00", "kind": "open"})
    form.fields["unit"].queryset = Unit.objects.visible_to(request.user).of(building).order_by("name")

    def act(fields: dict[str, Any]) -> None:
        for weekday in fields["weekdays"]:
            add_hours(
                building=building,
                kind=fields["kind"],
                weekday=weekday,
                name=fields["name"],
                unit=fields["unit"],
                **form.minutes(),
            )

    return answer_form(request, form, _page(building, "Add opening hours or a meal", "Add"), act, "Added.")


@require_http_methods(["GET", "POST"])
def hours_end(request: HttpRequest, building_id: int, hours_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "change places", building)
    row = get_object_or_404(Hours.objects.visible_to(request.user).of(building), pk=hours_id)
    what = row.name or ("Open" if row.kind == Hours.Kind.OPEN else "Meal")
    heading = f"Remove {WEEKDAYS[row.weekday]} {_clock(row.starts_minute)} to {_clock(row.ends_minute)}"
    page = _page(building, heading, "Remove", lede=f"{what}. What is published stays where it is.")
    form = PlainForm(request.POST if request.method == "POST" else None)
    return answer_form(request, form, page, lambda _: remove_hours(hours=row), "Removed.")


@require_http_methods(["GET", "POST"])
def station_add(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "change places", building)
    form = StationForm(request.POST or None, initial={"lightest": 0, "position": 1})
    page = _page(building, "Add a station", "Add")
    return answer_form(request, form, page, lambda fields: add_station(building=building, **fields), "Added.")


@require_http_methods(["GET", "POST"])
def station_change(request: HttpRequest, building_id: int, station_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "change places", building)
    station = get_object_or_404(Station.objects.visible_to(request.user).of(building), pk=station_id)
    names = [*StationForm.base_fields, "version"]
    form = ChangeStationForm(request.POST or None, initial={name: getattr(station, name) for name in names})
    page = _page(building, f"Change {station.name}", "Save", more={"row": station})
    return answer_form(request, form, page, lambda fields: change_station(station=station, **fields), "Saved.")
