"""Staff on a phone: from the queue through the sets to the end; not now, enough, a warning sign, no start."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from program import clock
from program.actions.incidents import see_incident
from program.models import Clearance, Incident, Record, Session, Set
from tests.browser.conftest import PHONE
from tests.program.api.arranging import at, booked

NINE = 9 * 60


@pytest.fixture
def queue(house, in_house):
    """The first two residents of the house, at nine and half past; it is five to nine."""
    with in_house():
        sessions = [
            booked(house, resident, at(house, 0, NINE + 30 * place), stations=2)
            for place, resident in enumerate(house.residents[:2])
        ]
    with clock.at(at(house, 0, NINE)):
        yield sessions


@pytest.fixture
def on_the_phone(visit, house, queue):
    """A phone in the hand of the aide, and nothing wrong with any page that was shown on it."""
    opened = []

    def take(*, has_script=True):
        opened.append(visit(house.aide, size=PHONE, has_script=has_script))
        opened[-1].page.goto("/")
        return opened[-1]

    yield take
    assert [fault for visitor in opened for fault in visitor.faults] == []


def looked_at(visitor):
    """What is wrong for anybody's eyes, ears or fingers."""
    return visitor.violations(), visitor.squeezed(), visitor.scrolls_sideways()


def open_first(visitor, house):
    visitor.page.get_by_role("link", name=house.residents[0].family_name).first.click()


def start(visitor):
    visitor.page.get_by_label("Date of birth").or_(visitor.page.get_by_label("date of birth")).check()
    visitor.page.get_by_role("button", name="Start").click()


def save_a_set(visitor, repetitions):
    form = visitor.page.locator("details[open] form.set")
    form.get_by_label("Repetitions").fill(str(repetitions))
    form.get_by_label("Seconds").fill("75")
    form.get_by_role("radio", name="2").check()
    form.get_by_label("Pain", exact=False).first.select_option("0")
    form.get_by_role("button", name="Save the set").click()


@pytest.mark.parametrize("has_script", [True, False], ids=["with script", "without script"])
def test_from_the_queue_through_the_sets_to_the_end(on_the_phone, house, in_house, has_script):
    visitor = on_the_phone(has_script=has_script)
    page = visitor.page
    expect(page.get_by_role("heading", name="Next")).to_be_visible()
    open_first(visitor, house)
    start(visitor)
    expect(page.get_by_text("since 09:00")).to_be_visible()
    for minutes, repetitions in ((2, 9), (8, 8)):
        with clock.at(at(house, 0, NINE + minutes)):
            save_a_set(visitor, repetitions)
            expect(page.get_by_text(f"{repetitions} × 20 kg, 75 s, pain 0")).to_be_visible()
    with clock.at(at(house, 0, NINE + 10)):
        page.get_by_role("button", name="End the session").click()
        expect(page.get_by_text("Done today: 1")).to_be_visible()

    with in_house():
        session = Session.objects.get(resident=house.residents[0])
        assert (session.sets_done, session.ended_at) == (2, at(house, 0, NINE + 10))
        assert [done.more_possible for done in Set.objects.order_by("ended_at")] == [2, 2]


def test_every_page_on_the_way_can_be_used_by_everybody(on_the_phone, house):
    visitor = on_the_phone()
    fine = ([], [], False)
    assert looked_at(visitor) == fine
    open_first(visitor, house)
    visitor.page.get_by_text("Will not happen today").first.click()
    assert looked_at(visitor) == fine
    start(visitor)
    assert looked_at(visitor) == fine
    visitor.page.get_by_role("button", name="Save the set").first.click()
    expect(visitor.page.locator("#refusal")).to_contain_text("Please correct: Repetitions, Seconds.")
    assert looked_at(visitor) == fine
    visitor.page.get_by_role("link", name="Warning sign").click()
    expect(visitor.page.get_by_role("heading", name="What do you see?")).to_be_visible()
    assert looked_at(visitor) == fine
    visitor.page.get_by_role("button", name="Go back").click()
    visitor.page.goto(f"{visitor.page.url}warning/".replace("/set/", "/"))
    assert looked_at(visitor) == fine


def test_asleep_leaves_the_session_on_the_list(on_the_phone, house, in_house):
    visitor = on_the_phone()
    open_first(visitor, house)
    visitor.page.get_by_role("button", name="Asleep").click()

    expect(visitor.page.get_by_text("tried: asleep")).to_be_visible()
    expect(visitor.page.get_by_role("heading", name="Next")).to_be_visible()


def test_enough_for_today_is_thanked_for(on_the_phone, house, in_house):
    visitor = on_the_phone()
    open_first(visitor, house)
    start(visitor)
    with clock.at(at(house, 0, NINE + 2)):
        save_a_set(visitor, 5)
        visitor.page.get_by_role("button", name="End here: enough for today").click()
        expect(visitor.page.get_by_text(f"Thank {house.residents[0].given_name}.")).to_be_visible()

    with in_house():
        assert (Incident.objects.count(), Record.objects.get(kind="ended").reason) == (0, "enough for today")


@pytest.mark.parametrize("has_script", [True, False], ids=["with script", "without script"])
def test_a_warning_sign_asks_for_the_nurse_until_somebody_has_seen_it(on_the_phone, house, in_house, has_script):
    visitor = on_the_phone(has_script=has_script)
    page = visitor.page
    open_first(visitor, house)
    start(visitor)
    page.get_by_role("link", name="Warning sign").click()
    page.get_by_role("button", name="Chest pain").click()
    loud = page.get_by_text("NOT SEEN YET by a clinician: call the nurse now.")
    expect(loud).to_be_visible()
    assert looked_at(visitor) == ([], [], False) if has_script else not visitor.faults

    with in_house():
        see_incident(incident=Incident.objects.get(), by=house.clinician)
    if not has_script:
        page.reload()
    # With script the page looks again by itself, every five seconds.
    expect(page.get_by_text(f"Seen by {house.clinician.name} at 09:00.")).to_be_visible(timeout=15_000)
    expect(loud).to_be_hidden()


def test_a_start_that_is_refused_says_everything_that_is_missing(on_the_phone, house, in_house):
    visitor = on_the_phone()
    open_first(visitor, house)
    with in_house():
        Clearance.objects.filter(resident=house.residents[0]).update(until_on=clock.now() - timedelta(days=9))
    start(visitor)

    said = "A clinician must clear"
    expect(visitor.page.locator("#refusal")).to_contain_text(said)
    expect(visitor.page.get_by_role("heading", name="Cannot start now")).to_be_visible()
    expect(visitor.page.get_by_role("button", name="Start")).to_have_count(0)
    assert looked_at(visitor) == ([], [], False)
