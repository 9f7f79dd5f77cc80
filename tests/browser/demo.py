"""A visitor of the demo: comes with a name and the demo's password, and reads the code off no phone."""

from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, Page, Response

from program.models import User
from scheduling.scenario import logins, present_code_of
from tests.browser.conftest import Visitor

PASSWORD = "seven quiet herons admire two copper kettles"


class DemoVisitor(Visitor):
    """Signs in by the pages alone; collects faults, and every answer that was no page."""

    def __init__(self, context: BrowserContext) -> None:
        self.page: Page = context.new_page()
        self.faults: list[str] = []
        self.refusals: list[tuple[int, str]] = []
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("response", self._answered)

    def _answered(self, response: Response) -> None:
        if response.status >= 400:
            self.refusals.append((response.status, urlsplit(response.url).path))

    def sign_in(self, username: str) -> None:
        """From the first page, which asks who one is, to where this person's work begins."""
        self.page.goto("/")
        self.page.get_by_label("Name or e-mail address").fill(username)
        self.page.get_by_label("Password").fill(PASSWORD)
        self.page.get_by_role("button", name="Sign in").click()

    def enter_code(self, username: str) -> None:
        """The second step, with what `demo_code` prints."""
        code = present_code_of(User.objects.get(username=username))
        self.page.get_by_label("Code").fill(code or "")
        self.page.get_by_role("button", name="Sign in").click()


def username_of(kind: str, where: str) -> str:
    """The first of the demo's people who is that, there."""
    return next(login.username for login in logins() if (login.kind, login.where) == (kind, where))
