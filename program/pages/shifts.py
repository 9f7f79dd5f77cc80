"""Shifts: who is on the circuit in a week, and for how many hours."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from program.access import require
from program.actions.shifts import add_shift, change_shift, end_shift
from program.models import Building, Shift, ShiftTime, User
from program.web.forms import ClockInput, DayInput, EditForm, FormPage, PlainForm, answer_form
from program.web.frame import building_here, local_now, this_week, week_asked
from program.web.people import people_of

HOUR = timedelta(hours=1)


class SpanForm(PlainForm):
    starts = forms.TimeField(label="From", widget=ClockInput())
    ends = forms.TimeField(label="Until", widget=ClockInput())

    def minutes(self) -> dict[str, int]:
        """As the actions take them: minutes after midnight."""
        return {f"{end}_minute": minutes_of(self.cleaned_data[end]) for end in ("starts", "ends")}


class ShiftForm(SpanForm):
    user = forms.ModelChoiceField(User.objects.none(), label="Who", empty_label=None)
    first_on = forms.DateField(label="On, or first on", widget=DayInput())
    is_weekly = forms.BooleanField(label="Every week on that day, until changed", required=False)
    field_order = ("user", "first_on", "starts", "ends", "is_weekly")


class ChangeShiftForm(SpanForm, EditForm):
    from_on = forms.DateField(label="From this day on", widget=DayInput())
    field_order = ("from_on", "starts", "ends")


class EndShiftForm(EditForm):
    last_on = forms.DateField(label="Last day", widget=DayInput())


@dataclass(frozen=True, slots=True)
class DayOfShifts:
    day: date
    times: list[ShiftTime]
    hours: str


def minutes_of(clock_time: time) -> int:
    return clock_time.hour * 60 + clock_time.minute


def hours_said(length: timedelta) -> str:
    minutes = length // timedelta(minutes=1)
    return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"


def _length(times: Iterable[ShiftTime]) -> timedelta:
    return sum((one.ends_at - one.starts_at for one in times), timedelta())


@require_safe
def shifts(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    week = week_asked(request, this_week(building))
    times = list(
        ShiftTime.objects.visible_to(request.user)
        .of(building)
        .filter(starts_at__gte=week.starts_at(building.zone), starts_at__lt=week.ends_at(building.zone))
        .select_related("user", "shift")
        .order_by("starts_at", "user__name")
    )
    days = [_of_day(day, times, building) for day in week.days]
    by_person: dict[str, list[ShiftTime]] = {}
    for one in times:
        by_person.setdefault(one.user.name, []).append(one)
    context = {
        "week": week,
        "days": days,
        "people": [(name, len(theirs), hours_said(_length(theirs))) for name, theirs in sorted(by_person.items())],
        "hours": hours_said(_length(times)),
        "is_empty": not times,
    }
    return render(request, "program/shifts.html", context)


def _of_day(day: date, times: list[ShiftTime], building: Building) -> DayOfShifts:
    those = [one for one in times if one.starts_at.astimezone(building.zone).date() == day]
    return DayOfShifts(day, those, hours_said(_length(those)))


def _page(building: Building, heading: str, button: str, **more: Any) -> FormPage:
    return FormPage(heading, button, reverse("program:shifts", args=[building.pk]), **more)


@require_http_methods(["GET", "POST"])
def add(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "change shifts", building)
    initial = {"first_on": local_now(building).date(), "starts": "08:00", "ends": "12:00", "is_weekly": True}
    form = ShiftForm(request.POST or None, initial=initial)
    form.fields["user"].queryset = people_of(building)

    def act(fields: dict[str, Any]) -> Shift:
        last_on = None if fields["is_weekly"] else fields["first_on"]
        return add_shift(
            building=building,
            user=fields["user"],
            first_on=fields["first_on"],
            last_on=last_on,
            by=request.user,
            **form.minutes(),
        )

    return answer_form(request, form, _page(building, "Add a shift", "Add"), act, "The shift is added.")


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, building_id: int, shift_id: int) -> HttpResponse:
    building, shift = _shift(request, building_id, shift_id)
    initial = {
        "version": shift.version,
        "from_on": max(shift.first_on, local_now(building).date()),
        "starts": f"{shift.starts_minute // 60:02d}:{shift.starts_minute % 60:02d}",
        "ends": f"{shift.ends_minute // 60:02d}:{shift.ends_minute % 60:02d}",
    }
    form = ChangeShiftForm(request.POST or None, initial=initial)
    lede = f"Every {shift.first_on:%A}. Earlier weeks stay as they are."
    page = _page(building, f"Change the shift of {shift.user.name}", "Change", lede=lede, more={"row": shift})

    def act(fields: dict[str, Any]) -> Shift:
        return change_shift(
            shift=shift, from_on=fields["from_on"], by=request.user, version=fields["version"], **form.minutes()
        )

    return answer_form(request, form, page, act, "The shift is changed.")


@require_http_methods(["GET", "POST"])
def end(request: HttpRequest, building_id: int, shift_id: int) -> HttpResponse:
    building, shift = _shift(request, building_id, shift_id)
    form = EndShiftForm(request.POST or None, initial={"version": shift.version, "last_on": local_now(building).date()})
    page = _page(building, f"End the shift of {shift.user.name}", "End the shift", more={"row": shift})
    return answer_form(
        request, form, page, lambda fields: end_shift(shift=shift, by=request.user, **fields), "The shift ends."
    )


def _shift(request: HttpRequest, building_id: int, shift_id: int) -> tuple[Building, Shift]:
    building = building_here(request, building_id)
    require(request.user, "change shifts", building)
    found = Shift.objects.visible_to(request.user).of(building).select_related("user")
    return building, get_object_or_404(found, pk=shift_id)
