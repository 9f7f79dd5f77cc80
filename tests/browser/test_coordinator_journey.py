"""Monday morning: build the week, read who is left out, publish, move one by keyboard; with and without script."""

import re

import pytest
from playwright.sync_api import Page, expect

from program import clock
from program.actions.safety import set_hold
from program.models import Session
from program.rules.week import Week
from scheduling import actions
from scheduling.models import Roster


@pytest.fixture
def week_of(house, in_house):
    """The address of the week, with one resident on hold."""
    with in_house():
        set_hold(
            resident=house.residents[1],
            kind="clinical",
            reason="chest infection",
            starts_at=clock.now(),
            by=house.coordinator,
        )
    return f"/buildings/{house.building.pk}/week/2026-W49/"


@pytest.fixture
def worker(house, in_house):
    """What a worker does with what was asked for."""

    def work():
        with in_house():
            waiting = Roster.objects.get(state="waiting").pk
        actions.fill_roster(roster_id=waiting, building_id=house.building.pk)

    return work


def planned(in_house):
    with in_house():
        return list(Session.objects.order_by("starts_at", "pk").values_list("pk", "starts_at"))


def focused(page: Page) -> str:
    """What the thing is called that has the focus."""
    name = page.evaluate(
        "() => (document.activeElement.getAttribute('aria-label') || document.activeElement.innerText)"
    )
    return " ".join(name.split())


def press_until(page: Page, key: str, is_there: str, *, at_most: int = 120) -> None:
    """Go through the page by keyboard until what has the focus is called so."""
    for _ in range(at_most):
        page.keyboard.press(key)
        if re.fullmatch(is_there, focused(page)):
            return
    pytest.fail(f"{is_there} was not reached by {key}")


def test_a_week_is_built_published_and_one_session_moved_by_keyboard(visit, house, in_house, week_of, worker):
    visitor = visit()
    page = visitor.page
    page.goto(week_of)
    page.get_by_role("button", name="Build the week").click()
    expect(page.get_by_text("Waiting to be built.")).to_be_visible()
    page.reload()
    expect(page.get_by_text("Waiting to be built.")).to_be_visible()

    worker()

    # The part that looks by itself finds the draft and loads the page again.
    expect(page.get_by_text("draft, not published")).to_be_visible()
    expect(page.get_by_text("Placed 22 of 24; no roster can place more than 22")).to_be_visible()
    left_out = page.get_by_role("row", name=house.residents[1].family_name)
    expect(left_out).to_contain_text("Exercise hold: chest infection")
    expect(page.get_by_text("New, by time")).to_be_visible()
    page.get_by_role("button", name="Publish").click()
    page.locator("dialog#ask").get_by_role("button", name="Publish").click()
    expect(page.get_by_text("Published: 22 new, 0 moved, 0 withdrawn.")).to_be_visible()

    before = planned(in_house)
    page.goto(f"/buildings/{house.building.pk}/day/2026-11-30/")
    press_until(page, "Tab", r"Move .* \d\d:\d\d")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Move")
    press_until(page, "Tab", r"Move to .*")
    chosen = page.evaluate("() => document.activeElement.value")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Moved from")).to_be_visible()
    assert focused(page).startswith("Moved from")

    after = planned(in_house)
    moved = set(after) - set(before)
    assert (len(moved), len(after)) == (1, len(before))
    ((_, starts_at),) = moved
    assert starts_at.astimezone(house.building.zone).strftime("%Y-%m-%dT%H:%M") == chosen
    assert visitor.faults == []


def test_the_same_without_script(visit, house, in_house, week_of, worker):
    page = visit(has_script=False).page
    page.goto(week_of)
    page.get_by_role("button", name="Build the week").click()
    worker()
    page.get_by_role("link", name="Look again").click()
    expect(page.get_by_text("draft, not published")).to_be_visible()
    expect(page.get_by_role("row", name=house.residents[1].family_name)).to_contain_text("chest infection")
    page.get_by_role("link", name="See what stays, what is new, and who is moved").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What publishing changes")
    page.get_by_role("link", name="Back to the week").click()
    page.get_by_role("button", name="Publish").click()
    expect(page.get_by_text("Published: 22 new, 0 moved, 0 withdrawn.")).to_be_visible()

    before = planned(in_house)
    page.goto(f"/buildings/{house.building.pk}/day/2026-11-30/")
    page.get_by_role("link", name=re.compile(r"Move .* \d\d:\d\d")).first.click()
    page.get_by_role("button", name=re.compile("Move to")).first.click()
    expect(page.get_by_text("Moved from")).to_be_visible()

    after = planned(in_house)
    assert (len(set(after) - set(before)), len(after)) == (1, len(before))


def test_a_keyboard_skips_the_menu_and_is_asked_before_publishing(visit, house, week_of, in_house):
    with in_house():
        draft = actions.start_roster(building=house.building, week=Week.named("2026-W49"), by=house.coordinator)
    actions.fill_roster(roster_id=draft.pk, building_id=house.building.pk)
    page = visit().page
    page.goto(week_of)
    page.keyboard.press("Tab")
    assert focused(page) == "Skip to the page"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert focused(page) == "Publish"

    page.keyboard.press("Enter")
    expect(page.locator("dialog#ask")).to_be_visible()
    # A press too many must not publish.
    assert focused(page) == "Go back"
    page.keyboard.press("Escape")
    expect(page.locator("dialog#ask")).to_be_hidden()
    assert focused(page) == "Publish"
    assert planned(in_house) == []


def test_a_time_that_breaks_a_rule_is_answered_on_a_phone(visit, house, in_house, week_of, worker):
    with in_house():
        session = actions.book_session(
            resident=house.residents[2],
            starts_at=clock.now().replace(hour=15),
            by=house.coordinator,
        )
    page = visit(size=(360, 740)).page
    page.goto(f"/buildings/{house.building.pk}/sessions/{session.pk}/move/")
    page.get_by_label("Day and time").fill("2026-11-30T12:00")
    page.get_by_role("button", name="Move to this time").click()

    expect(page.get_by_role("alert")).to_contain_text("12:00 is inside lunch 12:00–13:00.")
    assert [starts_at for _, starts_at in planned(in_house)] == [session.starts_at]
