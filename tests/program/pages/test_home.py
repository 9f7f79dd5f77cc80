"""The first page, the frame around pages, and the clock they speak by."""

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


def test_a_regional_manager_sees_the_names_of_the_buildings_and_nothing_behind_them(arrowfen, brindlewharf, client_of):
    region = arrowfen.building.region
    manager = client_of(factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=region))

    shown = manager.get("/")

    assert list(shown.context["managed"]) == ["Arrowfen House"]
    assert "In your region Their figures will stand here." in words(shown)
    assert manager.get(reverse("program:residents", args=[arrowfen.building.pk])).status_code == 404


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


def test_staff_have_no_imports_in_the_menu(arrowfen, client_of):
    shown = client_of(arrowfen.aide).get(reverse("program:shifts", args=[arrowfen.building.pk]))

    assert [label for label, _, _ in shown.context["nav"]] == [
        "This week",
        "Today",
        "Residents",
        "Clearances",
        "Shifts",
        "Places",
    ]
