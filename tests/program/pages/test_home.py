"""The first page, the frame around pages, and the clock they speak by."""

import pytest
from django.urls import reverse

from program.models import Role
from tests import factories
from tests.program.pages.words import words


def test_the_first_page_leads_to_the_only_building(arrowfen, coordinator):
    assert coordinator.get("/").url == reverse("program:building", args=[arrowfen.building.pk])


def test_with_two_buildings_one_is_chosen_and_remembered(arrowfen, brindlewharf, client_of):
    Role.objects.create(
        user=arrowfen.coordinator, kind="coordinator", building=brindlewharf.building, since=factories.LONG_AGO
    )
    client = client_of(arrowfen.coordinator)

    assert [building.name for building in client.get("/").context["choice"]] == ["Arrowfen House", "Brindlewharf"]
    client.get(reverse("program:shifts", args=[brindlewharf.building.pk]))
    assert client.get("/").url == reverse("program:building", args=[brindlewharf.building.pk])


def test_somebody_without_a_role_is_told_what_to_do(db, client_of):
    shown = client_of(factories.UserFactory()).get("/")

    assert "You have no role in a building now" in words(shown)


def test_a_regional_manager_is_led_to_the_reports_and_sees_nothing_behind_them(arrowfen, client_of):
    region = arrowfen.building.region
    manager = client_of(factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=region))

    assert manager.get("/").url == reverse("reports:newest")
    assert manager.get(reverse("program:residents", args=[arrowfen.building.pk])).status_code == 404


def test_a_regional_manager_with_another_hat_finds_both_on_the_first_page(arrowfen, brindlewharf, client_of):
    person = factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=arrowfen.building.region)
    Role.objects.create(user=person, kind="administrator", since=factories.LONG_AGO)

    shown = client_of(person).get("/")

    assert list(shown.context["managed"]) == ["Arrowfen House"]
    assert [label for label, _, _ in shown.context["nav"]] == ["Buildings", "People", "Reports"]
    assert "what was missed in each building, and no names of residents: their reports" in words(shown)


def test_an_administrator_starts_buildings_and_sees_no_residents(arrowfen, client_of):
    administrator = client_of(factories.with_role(None, Role.Kind.ADMINISTRATOR))

    shown = administrator.get("/")

    assert (list(shown.context["choice"]), list(shown.context["managed"])) == ([], [])
    assert "Start a building" in words(shown)
    assert administrator.get(reverse("program:residents", args=[arrowfen.building.pk])).status_code == 404


def test_signing_in_asks_for_what_people_know(client, db):
    shown = client.get(reverse("account_login"))

    assert [field.label for field in shown.context["form"].visible_fields()] == ["Name or e-mail address", "Password"]
    assert "Ask the system administrator of your organisation." in words(shown)


def test_pages_tell_the_time_by_the_buildings_clock_and_leave_none_behind(arrowfen, coordinator, client_of):
    administrator = client_of(factories.with_role(None, Role.Kind.ADMINISTRATOR))

    assert "As of Mon 30 Nov 2026, 06:00" in words(
        coordinator.get(reverse("program:shifts", args=[arrowfen.building.pk]))
    )
    assert "As of Mon 30 Nov 2026, 11:00 UTC" in words(administrator.get("/"))


def test_the_menu_shows_where_one_is(arrowfen, coordinator):
    shown = coordinator.get(reverse("program:add-shift", args=[arrowfen.building.pk]))

    assert [label for label, _, is_current in shown.context["nav"] if is_current] == ["Shifts"]


@pytest.mark.parametrize(
    ("page", "lit"),
    [
        ("day/2026-11-30/", ["Today"]),
        ("day/2026-12-01/", []),
        ("week/2026-W49/", ["This week"]),
        ("week/2026-W50/", []),
    ],
)
def test_today_and_this_week_are_lit_on_no_other_day_or_week(arrowfen, coordinator, page, lit):
    shown = coordinator.get(f"/buildings/{arrowfen.building.pk}/{page}")

    assert [label for label, _, is_current in shown.context["nav"] if is_current] == lit


def test_staff_have_no_imports_in_the_menu(arrowfen, client_of):
    shown = client_of(arrowfen.aide).get(reverse("program:shifts", args=[arrowfen.building.pk]))

    assert [label for label, _, _ in shown.context["nav"]] == [
        "Now",
        "This week",
        "Today",
        "To do",
        "Residents",
        "Clearances",
        "Shifts",
        "Places",
    ]
