"""Friday: which buildings need a call, the reports made anew, one building looked into, the table taken away."""

import csv
import io
from pathlib import Path

import pytest
from django.db import transaction
from playwright.sync_api import expect

from program.models import Building
from program.models.scoped import scope
from reports import actions
from reports.models import Report
from tests.browser.conftest import DESK, PHONE
from tests.reports.pages import invented
from tests.reports.pages.conftest import Six, build_six, tell

NOVEMBER = "/reports/month/2026-11/"


@pytest.fixture
def six(house) -> Six:
    """Six buildings without a session, committed, and their manager, who works in none of them."""
    with transaction.atomic():
        return build_six()


@pytest.fixture
def told(six) -> Six:
    with everywhere():
        tell(six)
    return six


@pytest.fixture
def worker():
    """Makes what waits, all but so many, as the worker does."""

    def work(*, leave: int = 0) -> None:
        with everywhere():
            waiting = list(Report.objects.filter(state="waiting").order_by("pk").values_list("pk", "building_id"))
        for report_id, building_id in waiting[: len(waiting) - leave]:
            actions.make_report(report_id=report_id, building_id=building_id)

    return work


def everywhere():
    return scope(list(Building.objects.values_list("pk", flat=True)))


def test_reports_are_asked_for_followed_read_and_taken_away(visit, six, worker):
    visitor = visit(six.manager)
    page = visitor.page
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Reports, week 2026-W48")
    expect(page.get_by_text("No reports of this period yet")).to_be_visible()

    page.get_by_role("button", name="Make reports for week 2026-W48").click()
    expect(page.get_by_text("0 of 6 buildings made.")).to_be_visible()
    worker(leave=2)
    # It looks by itself, and a reload loses nothing.
    expect(page.get_by_text("4 of 6 buildings made.")).to_be_visible()
    page.reload()
    expect(page.get_by_text("4 of 6 buildings made.")).to_be_visible()
    worker()
    expect(page.get_by_text("6 of 6 buildings made.")).to_be_visible()

    page.get_by_role("link", name="See week 2026-W48 side by side").click()
    expect(page.get_by_role("row", name="Arrowfen")).to_contain_text("None published")
    page.get_by_role("row", name="Arrowfen").get_by_role("link").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Arrowfen, week 2026-W48")
    page.get_by_role("link", name="All buildings, week 2026-W48").click()
    with page.expect_download() as taken:
        page.get_by_role("link", name="Table (CSV)").click()

    rows = list(csv.DictReader(io.StringIO(Path(taken.value.path()).read_text(), newline="")))
    assert taken.value.suggested_filename == "adherence-2026-W48.csv"
    assert [row["building"] for row in rows] == list(six.buildings)
    assert visitor.faults == []


def test_the_same_without_script(visit, six, worker):
    page = visit(six.manager, has_script=False, size=PHONE).page
    page.goto("/reports/week/2026-W48/")
    page.get_by_role("button", name="Make reports for week 2026-W48").click()
    expect(page.get_by_text("0 of 6 buildings made.")).to_be_visible()
    worker()
    page.get_by_role("link", name="Look again").click()
    expect(page.get_by_text("6 of 6 buildings made.")).to_be_visible()
    page.get_by_role("link", name="See week 2026-W48 side by side").click()
    expect(page.get_by_role("row", name="Coppermere")).to_contain_text("None published")


def test_the_buildings_that_need_a_call_come_first_by_name(visit, told):
    page = visit(told.manager).page
    page.goto(NOVEMBER)

    calls = page.get_by_role("region", name="Buildings that need a call").get_by_role("listitem")
    assert [text.split("\n")[0] for text in calls.all_inner_texts()] == ["Dunholt", "Fallowmere"]
    expect(calls.first).to_contain_text("Stopped recording since Tue 10 Nov")
    table = page.get_by_role("region", name="Northern region")
    expect(table.get_by_role("row", name="Northern region, 4 buildings pooled")).to_contain_text("89 to 95 of 105")
    expect(page.get_by_role("region", name="Under an outbreak closure")).to_contain_text("Eskerby")


def test_every_page_of_reports_can_be_used_by_everybody(visit, told, worker):
    with everywhere():
        run = invented.asked(told.manager)
        invented.report(told["Arrowfen"], run=run, state="waiting")
        invented.report(told["Coppermere"], run=run, state="failed", failure="It took too long.")
    addresses = [
        NOVEMBER,
        "/reports/week/2026-W48/",
        f"/reports/runs/{run.pk}/",
        *(f"{NOVEMBER}buildings/{told[name].pk}/" for name in ("Arrowfen", "Coppermere", "Dunholt", "Eskerby")),
        f"{NOVEMBER}buildings/{told['Fallowmere'].pk}/",
        f"/reports/week/2026-W48/buildings/{told['Arrowfen'].pk}/",
    ]
    found = []
    for size in (PHONE, DESK):
        visitor = visit(told.manager, size=size)
        for address in addresses:
            assert visitor.page.goto(address).status == 200, address
            found += [(address, size, one) for one in visitor.violations()]
            found += [(address, size, one) for one in visitor.squeezed()]
            found += [(address, size, "scrolls sideways")] if visitor.scrolls_sideways() else []
        found += [(size, fault) for fault in visitor.faults]

    assert found == []
