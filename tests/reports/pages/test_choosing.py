"""Which period is shown first, and the way to others."""

import pytest

from program.models import Role
from tests import factories
from tests.program.pages.words import words

NOVEMBER = "/reports/month/2026-11/"


def test_the_first_address_leads_to_the_newest_period(six, manager):
    assert manager.get("/reports/").url == NOVEMBER


def test_without_any_report_the_last_whole_week_is_offered(db, client_of):
    manager = factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=factories.RegionFactory())
    client = client_of(manager)

    assert client.get("/reports/").url == "/reports/week/2026-W48/"
    page = client.get("/reports/week/2026-W48/")
    assert "No reports of this period yet" in words(page)
    assert page.context["tables"] == []


@pytest.mark.parametrize(
    "address",
    [
        "/reports/year/2026/",
        "/reports/month/2026-13/",
        "/reports/week/2026-W54/",
        "/reports/month/2027-01/",
        "/reports/week/0001-W01/",
        "/reports/month/9999-12/",
    ],
)
def test_a_period_that_does_not_exist_or_has_not_begun_is_not_there(six, manager, address):
    assert manager.get(address).status_code == 404


def test_the_chooser_leads_to_newer_and_older_and_to_the_other_kind(six, manager):
    chooser = manager.get("/reports/week/2026-W48/").context["chooser"]

    assert chooser == {
        "week": "/reports/week/2026-W48/",
        "month": NOVEMBER,
        "newer": {"address": "/reports/week/2026-W49/", "words": "week 2026-W49"},
        "older": {"address": "/reports/week/2026-W47/", "words": "week 2026-W47"},
    }
    assert manager.get(NOVEMBER).context["chooser"]["newer"] is None
