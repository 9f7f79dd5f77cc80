"""Places: what is open, closed and out of order, and the rules a building runs by."""

from django.urls import reverse

from program.actions.places import change_building
from program.models import Closure, Hours, Station
from tests.program.pages.words import refusal, words


def at(house, name, *rest):
    return reverse(f"program:{name}", args=[house.building.pk, *rest])


RULES = {
    "rest_after_meal_minutes": 45,
    "margin_minutes": 10,
    "buffer_turns": 1,
    "max_wait_turns": 0,
    "grace_minutes": 30,
    "overdue_hours": 120,
    "skips_closed_stations": "on",
}


def test_the_rules_are_read_by_all_in_care_and_changed_by_the_coordinator(arrowfen, coordinator, client_of, see_all):
    aide = client_of(arrowfen.aide)

    assert "Rest after a meal 30 minutes" in words(aide.get(at(arrowfen, "places")))
    assert aide.post(at(arrowfen, "rules"), RULES | {"version": 1}).status_code == 403
    assert coordinator.post(at(arrowfen, "rules"), RULES | {"version": 1}).status_code == 302
    see_all()
    arrowfen.building.refresh_from_db()
    assert arrowfen.building.rest_after_meal_minutes == 45


def test_rules_out_of_reason_or_out_of_date_are_refused(arrowfen, coordinator, see_all):
    wrong = coordinator.post(at(arrowfen, "rules"), RULES | {"version": 1, "overdue_hours": 10})
    see_all()
    change_building(building=arrowfen.building, grace_minutes=20)
    late = coordinator.post(at(arrowfen, "rules"), RULES | {"version": 1})

    assert (wrong.status_code, late.status_code) == (422, 412)
    assert refusal(wrong) == "A resident is overdue after 48 to 1000 hours without a session."


def test_a_station_goes_out_of_order_and_opens_again(arrowfen, client_of, see_all):
    aide = client_of(arrowfen.aide)
    station = arrowfen.stations[2]
    typed = {
        "what": f"station-{station.pk}",
        "reason": "out of order",
        "starts_at": "2026-11-30T05:00",
        "ends_at": "",
        "note": "belt torn",
    }

    assert aide.post(at(arrowfen, "close"), typed).status_code == 302
    see_all()
    closure = Closure.objects.get()
    assert (closure.station, closure.unit, closure.starts_at.isoformat()) == (
        station,
        None,
        "2026-11-30T10:00:00+00:00",
    )
    ends = {"version": closure.version, "ends_at": "2026-11-30T06:00"}
    assert aide.post(at(arrowfen, "open-again", closure.pk), ends).status_code == 302
    assert "Nothing is closed or out of order." in words(aide.get(at(arrowfen, "places")))


def test_only_a_coordinator_closes_the_whole_building(arrowfen, client_of, coordinator, see_all):
    typed = {"what": "building", "reason": "holiday", "starts_at": "2026-12-25T00:00", "ends_at": "2026-12-26T00:00"}

    assert client_of(arrowfen.aide).post(at(arrowfen, "close"), typed).status_code == 403
    assert coordinator.post(at(arrowfen, "close"), typed).status_code == 302
    see_all()
    assert Closure.objects.count() == 1


def test_hours_are_added_for_several_days_or_not_at_all(arrowfen, coordinator, see_all):
    typed = {"kind": "open", "starts": "18:00", "ends": "19:00", "weekdays": ["5", "6"]}

    coordinator.post(at(arrowfen, "add-hours"), typed)
    see_all()
    sunday = Hours.objects.get(kind="open", weekday=6)
    assert (sunday.starts_minute, sunday.ends_minute) == (1080, 1140)
    shown = coordinator.post(at(arrowfen, "add-hours"), typed | {"weekdays": ["4", "6"]})
    see_all()
    assert refusal(shown) == "That overlaps another period of the same day."
    assert Hours.objects.filter(kind="open", weekday=4).count() == 1
    coordinator.post(at(arrowfen, "remove-hours", sunday.pk))
    see_all()
    assert Hours.objects.filter(kind="open", weekday=6).count() == 0


def test_a_station_is_added_and_changed(arrowfen, coordinator, see_all):
    typed = {
        "name": "Pulley row",
        "exercise": "seated row",
        "position": 6,
        "load_unit": "lb",
        "load_step": "2.5",
        "lightest": "0",
        "heaviest": "",
    }

    coordinator.post(at(arrowfen, "add-station"), typed)
    see_all()
    station = Station.objects.get(name="Pulley row")
    coordinator.post(at(arrowfen, "change-station", station.pk), typed | {"version": 1, "load_step": "5"})
    see_all()
    station.refresh_from_db()
    assert (station.load_step, station.version) == (5, 2)


def test_a_closure_of_another_house_does_not_exist(arrowfen, brindlewharf, coordinator):
    closed = Closure.objects.create(
        building=brindlewharf.building,
        reason="other",
        starts_at="2026-11-30T10:00Z",
        entered_by=brindlewharf.coordinator,
        entered_at="2026-11-30T10:00Z",
    )

    assert coordinator.get(at(arrowfen, "open-again", closed.pk)).status_code == 404


def test_the_page_takes_few_queries(arrowfen, coordinator, queries):
    assert queries(coordinator, at(arrowfen, "places")) == 10
