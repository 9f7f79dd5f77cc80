"""A visitor of the demo, three times: on the floor with a phone, at the coordinator's desk, at the region's."""

import csv
import io
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Locator, expect

from program import clock
from program.models import Building, Record, Role, Session, Set
from program.models.scoped import scope
from reports.actions import make_due_reports
from reports.models import Report
from scheduling.actions import refresh_flags
from scheduling.scenario import BUILDINGS, seed_building, seed_organisation
from tests.browser.conftest import DESK, PHONE
from tests.browser.demo import PASSWORD, DemoVisitor, username_of

FENNIMOOR = next(plan for plan in BUILDINGS if plan.name == "Fennimoor")
DENVER = ZoneInfo("America/Denver")
# A Thursday on which the building is open, between two sessions of the morning; and after lunch.
MORNING, AFTERNOON = (datetime(2026, 12, 3, hour, 30, tzinfo=DENVER) for hour in (10, 14))
# As many weeks as it takes to see one in which people trained before the demo's standstill.
WEEKS = 3


@pytest.fixture
def fennimoor(transactional_db: None, settings: Any) -> Iterator[Building]:
    """The demo with its smallest building alone, as somebody finds it who starts it on that morning."""
    settings.DEMO = True
    with clock.at(MORNING):
        with scope([], is_administration=True):
            seed_organisation(password=PASSWORD)
        assert seed_building(FENNIMOOR, weeks_of_history=WEEKS, seconds=1) is not None
        # November and its last two weeks: before them nothing was published.
        assert list(make_due_reports()) == [(FENNIMOOR.name, 3)]
        yield Building.objects.get()


@pytest.fixture
def newcomer(browser: Any, live_server: Any) -> Iterator[Any]:
    """Open a window in which nobody is signed in."""
    opened = []

    def open_window(size: tuple[int, int]) -> DemoVisitor:
        context = browser.new_context(
            base_url=live_server.url,
            viewport={"width": size[0], "height": size[1]},
            has_touch=size == PHONE,
            locale="en-GB",
            timezone_id="America/New_York",
        )
        opened.append(context)
        return DemoVisitor(context)

    yield open_window
    for context in opened:
        context.close()


def test_three_people_of_the_demo_find_their_work_by_themselves(newcomer: Any, fennimoor: Building) -> None:
    staff, coordinator, manager = newcomer(PHONE), newcomer(DESK), newcomer(DESK)
    train_the_next(staff, fennimoor)
    with clock.at(AFTERNOON):
        look_through(fennimoor)
        move_the_latest(coordinator, fennimoor)
        read_the_reports(manager, fennimoor)

    assert [one.faults for one in (staff, coordinator, manager)] == [[], [], []]
    assert (staff.refusals, coordinator.refusals) == ([], [])
    assert manager.refusals == [(404, f"/buildings/{fennimoor.pk}/residents/")]


def look_through(building: Building) -> None:
    """As the worker does every minute. Not by its task: to look at that loads a queue that is not this service's."""
    with scope([building.pk]):
        refresh_flags(building_ids=[building.pk])


def train_the_next(visitor: DemoVisitor, building: Building) -> None:
    """Nobody has trained for ten days, so that whoever is next has recovered and may start."""
    page = visitor.page
    visitor.sign_in(username_of(Role.Kind.STAFF, building.name))
    expect(page.get_by_role("heading", level=1)).to_have_text("Thu 3 Dec, 10:30")
    expect(page.get_by_text("Invented data")).to_be_visible()
    assert (visitor.violations(), visitor.scrolls_sideways()) == ([], False)
    coming = page.get_by_role("region", name="Next").locator("a").first
    name = coming.locator(".who").inner_text()
    coming.click()

    expect(page.get_by_role("heading", level=1)).to_have_text(name)
    asked = page.get_by_role("group", name=f"How did you make sure that this is {name}?")
    asked.get_by_label("Date of birth").check()
    page.get_by_role("button", name="Start").click()
    expect(page.get_by_text("since 10:30")).to_be_visible()
    with clock.at(MORNING.replace(minute=33)):
        save_a_set(page.locator("details[open] form.set"))
        expect(page.get_by_text(re.compile("9 × .*, 75 s, pain 0"))).to_be_visible()
        page.get_by_role("button", name="End here: enough for today").click()
        expect(page.get_by_text("Done today: 1")).to_be_visible()

    with scope([building.pk]):
        done = Session.objects.get(started_at=MORNING)
        assert (done.resident.name, done.sets_done) == (name, 1)
        assert Set.objects.get(session=done).repetitions == 9
        assert Record.objects.get(session=done, kind="ended").reason == "enough for today"


def save_a_set(form: Locator) -> None:
    form.get_by_label("Repetitions").fill("9")
    form.get_by_label("Seconds").fill("75")
    form.get_by_role("radio", name="2").check()
    form.get_by_label("Pain", exact=False).first.select_option("0")
    form.get_by_role("button", name="Save the set").click()


def move_the_latest(visitor: DemoVisitor, building: Building) -> None:
    """Since the morning nobody has gone on: what was planned before lunch is late, and one of it is moved."""
    page = visitor.page
    visitor.sign_in(username_of(Role.Kind.COORDINATOR, building.name))
    expect(page.get_by_role("heading", level=1)).to_have_text("Week of 30 Nov 2026")
    assert (visitor.violations(), visitor.scrolls_sideways()) == ([], False)
    page.get_by_role("link", name="To do", exact=True).click()
    page.get_by_role("navigation", name="Groups").get_by_role("link", name="Late").click()
    late = page.get_by_role("region", name="Late")
    row = late.locator("li.row").first
    name = row.locator(".who").inner_text()
    offered = row.get_by_role("button", name="Move to").first
    # Every flag in sight asks for its times at once.
    expect(offered).to_be_visible(timeout=15_000)
    assert visitor.violations() == []
    starts_at = datetime.fromisoformat(offered.get_attribute("value"))
    offered.click()

    said = f"{starts_at:%a} {starts_at.day} {starts_at:%b %H:%M}"
    expect(page.get_by_role("status")).to_have_text(f"On the plan: {name} {said}.")
    expect(late.locator("li.row").first).to_be_visible()
    expect(late.locator("li.row").filter(has_text=name)).to_have_count(0)
    page.get_by_role("link", name="This week", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Week of 30 Nov 2026")

    with scope([building.pk]):
        there = Session.objects.filter(starts_at=starts_at).select_related("resident")
        assert [one.resident.name for one in there if one.resident.name == name] == [name]


def read_the_reports(visitor: DemoVisitor, building: Building) -> None:
    page = visitor.page
    username = username_of(Role.Kind.REGIONAL_MANAGER, building.region.name)
    visitor.sign_in(username)
    expect(page.get_by_role("heading", level=1)).to_have_text("Second step")
    assert visitor.violations() == []
    visitor.enter_code(username)
    expect(page.get_by_role("heading", level=1)).to_have_text("Reports, November 2026")
    assert (visitor.violations(), visitor.scrolls_sideways()) == ([], False)
    with scope([building.pk]):
        figures = Report.objects.get(period_name="2026-11").figures
    attendance, completion = figures["attendance"], figures["completion"]
    row = page.get_by_role("row", name=building.name)
    expect(row.get_by_role("cell").nth(0)).to_contain_text(f"{attendance['done']} of {attendance['published']}")
    expect(row.get_by_role("cell").nth(1)).to_contain_text(f"{completion['done']} of {completion['prescribed']:.1f}")
    row.get_by_role("link", name=building.name).click()

    expect(page.get_by_role("heading", level=1)).to_have_text(f"{building.name}, November 2026")
    expect(page.get_by_role("region", name="Main figures")).to_contain_text(f"{attendance['done']} of")
    with page.expect_download() as taken:
        page.get_by_role("link", name="Table (CSV)").click()
    [line] = csv.DictReader(io.StringIO(Path(taken.value.path()).read_text(), newline=""))
    assert (line["building"], line["period"]) == (building.name, "2026-11")
    assert (int(line["sessions done"]), int(line["sessions published"])) == (
        attendance["done"],
        attendance["published"],
    )
    assert attendance["done"] > 0

    page.goto(f"/buildings/{building.pk}/residents/")
    expect(page.get_by_role("heading", level=1)).to_have_text("There is nothing here")
