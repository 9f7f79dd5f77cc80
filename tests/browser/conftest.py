"""A real browser against a real server: a house that is committed, a coordinator signed in, every error collected."""

import os
from collections.abc import Callable, Iterator
from importlib.resources import files
from typing import Any

import pytest
from django.conf import settings as service
from django.db import transaction
from django.test import Client
from playwright.sync_api import BrowserContext, Page

from program.models import User, scope
from program.rules.week import Week
from tests import factories
from tests.chromium import chromium_path
from tests.conftest import MONDAY, House, build_house
from tests.signing_in import sign_in

# Playwright runs its own event loop in this thread, which Django takes for an asynchronous one.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text()
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PHONE, DESK = (360, 740), (1280, 800)
SQUEEZED = """() => [...document.querySelectorAll("main *")]
  .filter((one) => [...one.childNodes].some((node) => node.nodeType === 3 && /\\S{5}/.test(node.data)))
  .filter((one) => one.offsetWidth > 1 && one.offsetWidth < 32 && one.offsetHeight > 60)
  .map((one) => one.outerHTML.slice(0, 160))"""
# What an answer of 409, 412 or 422 writes into the console by itself.
EXPECTED = "Failed to load resource"


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    return browser_type_launch_args | {
        "executable_path": chromium_path(),
        "chromium_sandbox": False,
        "args": ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"],
    }


@pytest.fixture
def house(transactional_db: None) -> House:
    """Arrowfen House with twelve residents and an aide on the circuit all week, committed."""
    with transaction.atomic():
        return settled_house()


def settled_house(residents: int = 12) -> House:
    house = build_house()
    for number in range(residents):
        house.resident(
            given_name=GIVEN[number % len(GIVEN)],
            family_name=FAMILY[number // len(GIVEN) % len(FAMILY)] + ("" if number < 40 else str(number)),
            room=str(101 + number),
            help_sixths=(2, 2, 3, 6)[number % 4],
            **({"escort_people": 1, "escort_minutes": 10} if number % 3 == 0 else {}),
        )
    for day in Week.of(MONDAY, house.building.zone).days[:6]:
        factories.on_the_circuit(house.building, house.aide, day, 8 * 60, 17 * 60)
    return house


GIVEN = ("Åsa", "Benno", "Cléo", "Dagný", "Emrys", "Fiammetta", "Gö", "Hedda", "Ñusta", "Jürg")
FAMILY = ("Quillmoor", "Østerbæk", "Vandelthorpe", "Žilvinaitė")


@pytest.fixture
def in_house(house: House) -> Callable[[], Any]:
    """A transaction that sees the rows of the house, for looking at what a page has written."""
    return lambda: scope([house.building.pk], user_id=house.coordinator.pk)


class Visitor:
    """Somebody signed in, in a window of a size; whatever goes wrong in the page is collected."""

    def __init__(self, context: BrowserContext, live_server: Any, user: User) -> None:
        client = Client()
        sign_in(client, user)
        name = service.SESSION_COOKIE_NAME
        context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
        self.page: Page = context.new_page()
        self.faults: list[str] = []
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))

    def _heard(self, message: Any) -> None:
        if message.type in {"error", "warning"} and EXPECTED not in message.text:
            self.faults.append(message.text)

    def violations(self) -> list[str]:
        """What axe finds, target sizes included."""
        self.page.evaluate(AXE + ";0")
        options = {"runOnly": RULES, "rules": {"target-size": {"enabled": True}}}
        found = self.page.evaluate("(options) => axe.run(document, options)", options)
        return [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in found["violations"]]

    def squeezed(self) -> list[str]:
        """Words in a column too narrow to hold one of them."""
        return list(self.page.evaluate(SQUEEZED))

    def scrolls_sideways(self) -> bool:
        return bool(self.page.evaluate("() => document.documentElement.scrollWidth > window.innerWidth"))


@pytest.fixture
def visit(browser: Any, live_server: Any, house: House) -> Iterator[Callable[..., Visitor]]:
    """Open a window as somebody of the house."""
    contexts: list[BrowserContext] = []

    def open_window(user: User | None = None, *, size: tuple[int, int] = DESK, has_script: bool = True) -> Visitor:
        context = browser.new_context(
            base_url=live_server.url,
            viewport={"width": size[0], "height": size[1]},
            has_touch=size == PHONE,
            java_script_enabled=has_script,
            locale="en-GB",
            timezone_id="America/New_York",
        )
        contexts.append(context)
        return Visitor(context, live_server, user or house.coordinator)

    yield open_window
    for context in contexts:
        context.close()
