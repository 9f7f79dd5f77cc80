"""The week's people and hours, and shifts added, changed from a day on, and ended."""

from datetime import date

from django.urls import reverse

from program.models import Shift, ShiftTime
from tests import factories
from tests.program.pages.words import refusal, words

MONDAY = date(2026, 11, 30)


def test_the_week_shows_people_and_their_hours(arrowfen, coordinator):
    factories.on_the_circuit(arrowfen.building, arrowfen.aide, MONDAY, 8 * 60, 12 * 60 + 30)
    address = reverse("program:shifts", args=[arrowfen.building.pk])

    assert coordinator.get(address).context["people"] == [(arrowfen.aide.name, 1, "4 h 30 min")]
    assert "No shifts in this week" in words(coordinator.get(address, {"week": "2026-W51"}))


def test_a_week_that_does_not_exist_is_refused_with_a_sentence(arrowfen, coordinator):
    shown = coordinator.get(reverse("program:shifts", args=[arrowfen.building.pk]), {"week": "2026-W60"})

    assert shown.status_code == 422
    assert "“2026-W60” is not a week. Write it like 2026-W53." in words(shown)


def test_a_weekly_shift_is_added_changed_from_a_day_on_and_ended(arrowfen, coordinator, see_all):
    at = [arrowfen.building.pk]
    typed = {
        "user": arrowfen.aide.pk,
        "first_on": "2026-11-30",
        "starts": "08:00",
        "ends": "12:00",
        "is_weekly": "on",
    }
    coordinator.post(reverse("program:add-shift", args=at), typed)
    see_all()
    shift = Shift.objects.get()
    assert (shift.starts_minute, shift.ends_minute, shift.last_on) == (480, 720, None)

    change = {"version": shift.version, "from_on": "2026-12-07", "starts": "09:00", "ends": "12:00"}
    coordinator.post(reverse("program:change-shift", args=[*at, shift.pk]), change)
    see_all()
    first = ShiftTime.objects.order_by("starts_at")[:2]
    assert [time.starts_at.isoformat() for time in first] == ["2026-11-30T13:00:00+00:00", "2026-12-07T14:00:00+00:00"]

    later = Shift.objects.latest("pk")
    coordinator.post(
        reverse("program:end-shift", args=[*at, later.pk]), {"version": later.version, "last_on": "2026-12-07"}
    )
    see_all()
    assert ShiftTime.objects.count() == 2


def test_somebody_already_on_the_circuit_is_named_with_the_day(arrowfen, coordinator):
    factories.on_the_circuit(arrowfen.building, arrowfen.aide, MONDAY, 8 * 60, 12 * 60)
    typed = {"user": arrowfen.aide.pk, "first_on": "2026-11-30", "starts": "11:00", "ends": "13:00"}

    shown = coordinator.post(reverse("program:add-shift", args=[arrowfen.building.pk]), typed)

    assert shown.status_code == 409
    assert refusal(shown) == "Mon 30 Nov 11:00-13:00: that person is already on the circuit at that time."
    assert shown.context["form"]["ends"].value() == "13:00"


def test_a_person_of_another_house_cannot_be_chosen(arrowfen, brindlewharf, coordinator, see_all):
    typed = {"user": brindlewharf.aide.pk, "first_on": "2026-11-30", "starts": "11:00", "ends": "13:00"}

    shown = coordinator.post(reverse("program:add-shift", args=[arrowfen.building.pk]), typed)

    see_all()
    assert (shown.status_code, Shift.objects.count()) == (422, 0)


def test_staff_cannot_change_shifts(arrowfen, client_of):
    assert client_of(arrowfen.aide).get(reverse("program:add-shift", args=[arrowfen.building.pk])).status_code == 403


def test_the_queries_do_not_grow_with_the_shifts(arrowfen, coordinator, queries, see_all):
    address = reverse("program:shifts", args=[arrowfen.building.pk])
    factories.on_the_circuit(arrowfen.building, arrowfen.aide, MONDAY, 8 * 60, 9 * 60)
    few = queries(coordinator, address)
    see_all()
    for hour in range(9, 19):
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, MONDAY, hour * 60, hour * 60 + 60)

    assert (few, queries(coordinator, address)) == (8, 8)
