"""Signing in for the first time, and people for an administrator: on a phone, at a desk, and without script."""

import pytest
from django.db import transaction

from program.actions.second_factors import code_of, step_now
from program.actions.signing_in import make_link
from program.models import Role, User
from tests import factories
from tests.browser.conftest import DESK, PHONE

PASSWORD = "nine copper lanterns follow four herons"
GONE = "status of 410"


@pytest.fixture
def administrator(house) -> User:
    with transaction.atomic():
        return factories.with_role(None, Role.Kind.ADMINISTRATOR, name="Ada Example")


def test_every_page_about_people_can_be_used_by_everybody(visit, house, administrator):
    person = f"/people/{house.clinician.pk}/"
    role = house.clinician.roles.get().pk
    addresses = [
        *("/people/", "/people/?name=nobody", "/people/add/", person, f"{person}roles/", f"{person}roles/{role}/"),
        *(f"{person}link/", f"{person}close/", "/tokens/", "/tokens/make/", "/account/", "/account/sessions/"),
        *("/account/second-step/", "/account/second-step/recovery-codes/", "/account/second-step/app/remove/"),
    ]
    found = []
    for size in (PHONE, DESK):
        visitor = visit(administrator, size=size)
        for address in addresses:
            assert visitor.page.goto(address).status == 200, address
            found += [(address, size, one) for one in visitor.violations() + visitor.squeezed()]
            found += [(address, size, "scrolls sideways")] if visitor.scrolls_sideways() else []
        visitor.page.goto(f"{person}link/")
        visitor.page.get_by_role("button", name="Make the link").click()
        found += [("the link", size, one) for one in visitor.violations() + visitor.squeezed()]
        found += [("the link", size, "scrolls sideways")] if visitor.scrolls_sideways() else []
        found += [(size, fault) for fault in visitor.faults]

    assert found == []


@pytest.mark.parametrize("has_script", [True, False])
def test_a_first_sign_in_from_the_link_to_the_recovery_codes(browser, live_server, administrator, has_script):
    with transaction.atomic():
        secret = make_link(user=administrator, by=administrator)
    context = browser.new_context(base_url=live_server.url, java_script_enabled=has_script)
    page, faults = context.new_page(), []
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)

    page.goto(f"/welcome/{secret}/")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("The same once more").fill(PASSWORD)
    page.get_by_role("button", name="Save the password").click()
    page.get_by_label("Name or e-mail address").fill(administrator.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    key = page.locator("code.secret").inner_text().replace(" ", "")
    assert page.locator("svg.qr").bounding_box()["width"] > 200
    page.get_by_label("Code", exact=True).fill(code_of(key, step_now()))
    page.get_by_role("button", name="Set it up").click()
    assert page.locator(".codes li").count() == 10
    page.get_by_role("link", name="I have kept them").click()

    assert page.get_by_role("heading", name="Buildings").is_visible()
    page.goto(f"/welcome/{secret}/")
    assert page.get_by_role("heading", name="This link no longer works").is_visible()
    assert [fault for fault in faults if GONE not in fault] == []
    context.close()
