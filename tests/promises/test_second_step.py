"""Whoever needs a second step does nothing without one, at no address, by no road."""

import pytest
from allauth.mfa.models import Authenticator
from django.conf import LazySettings
from django.db import connection
from django.test import Client

from program import clock
from program.access import NEEDS_SECOND_FACTOR
from program.actions.second_factors import code_of, give_second_factor, secret_of, step_now
from program.models import ApiToken, Audit, Role, User
from tests import factories
from tests.conftest import MONDAY, House
from tests.program.api.asking import problem_of
from tests.promises.asking import addresses, ask
from tests.promises.furnished import furnish
from tests.promises.matrix import MATRIX
from tests.signing_in import code_now, sign_in

pytestmark = pytest.mark.django_db
GUARD = "program.web.second_factor.SecondFactorMiddleware"
SET_UP = "/account/second-step/app/"
PASSWORD = "seven velvet otters count two ladders"


def without_second_step(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def holders() -> list[User]:
    """One person for each kind of role that needs a second step, and has none."""
    region = factories.RegionFactory()
    where = {"administrator": None}
    return [factories.with_role(None, kind, region=where.get(kind, region)) for kind in sorted(NEEDS_SECOND_FACTOR)]


def test_every_address_is_closed_until_it_is_set_up() -> None:
    there = furnish("Arrowfen")
    opened, cells = [], 0
    for client in map(without_second_step, holders()):
        for address in addresses():
            if "public" in MATRIX.get(address.path, {}).values():
                continue
            for method in ("GET", "POST", "PATCH", "DELETE"):
                answer = ask(client, address, method, there)
                cells += 1
                told = answer.headers.get("Location") or answer.json()["type"]
                expected = "/problems/second-factor-missing" if address.is_api else SET_UP
                if (told, answer.status_code) != (expected, 403 if address.is_api else 302):
                    opened.append((address.path, method, answer.status_code))

    assert opened == []
    assert cells > 3 * 4 * 100


def test_with_the_guard_out_they_are_open(settings: LazySettings) -> None:
    """The control: the same people without what stands before them."""
    settings.MIDDLEWARE = [name for name in settings.MIDDLEWARE if name != GUARD]

    assert [without_second_step(user).get("/tokens/").status_code for user in holders()] == [200] * 3


def test_coordinators_and_staff_may_do_without(arrowfen: House) -> None:
    for user in (arrowfen.coordinator, arrowfen.aide):
        assert without_second_step(user).get("/tokens/").status_code == 200


def test_who_decides_in_all_of_a_region_needs_it_and_who_works_on_its_floors_does_not(arrowfen: House) -> None:
    told = []
    for kind in ("coordinator", "staff"):
        user = factories.with_role(None, kind, region=arrowfen.building.region)
        told.append(without_second_step(user).get("/tokens/").status_code)

    assert told == [302, 200]


def test_a_role_that_needs_it_closes_the_session_that_was_signed_in_without(arrowfen: House) -> None:
    client = without_second_step(arrowfen.coordinator)
    assert client.get("/api/me/").status_code == 200
    Role.objects.create(user=arrowfen.coordinator, kind="clinician", building=arrowfen.building, since=MONDAY)

    assert problem_of(client.get("/api/me/")) == (403, "second-factor-missing")
    # Set up elsewhere: what was signed in with a password alone must sign in again, with both.
    give_second_factor(user=arrowfen.coordinator)
    assert problem_of(client.get("/api/me/")) == (401, "not-signed-in")


def test_the_record_of_another_second_step_does_not_count(arrowfen: House) -> None:
    client = Client()
    sign_in(client, arrowfen.clinician)
    assert client.get("/tokens/").status_code == 200
    Authenticator.objects.filter(user=arrowfen.clinician).delete()
    give_second_factor(user=arrowfen.clinician)

    assert client.get("/tokens/").status_code == 302


def person_with_password(kind: str) -> User:
    user = factories.with_role(None, kind)
    user.set_password(PASSWORD)
    user.save()
    return user


def test_from_a_first_sign_in_to_the_next_one_by_the_pages() -> None:
    user = person_with_password("administrator")
    client = Client()
    assert client.post("/account/login/", {"login": user.username, "password": PASSWORD}).url == "/"
    assert client.get("/").url == SET_UP
    form = client.get(SET_UP).context["form"]
    shown = client.post(SET_UP, {"code": code_of(form.secret, step_now())}, follow=True)
    codes = shown.context["unused_codes"]
    assert (len(codes), client.get("/people/").status_code) == (10, 200)
    client.post("/account/logout/")

    sent = {"login": user.username, "password": PASSWORD}
    assert client.post("/account/login/", sent).url == "/account/login/second-step/"
    assert client.get("/people/").url.startswith("/account/login/")
    # The code that set it up has been used; the next step's is right, once.
    assert (
        "has been used already" in client.post("/account/login/second-step/", {"code": code_now(user)}).content.decode()
    )
    with clock.at(MONDAY.replace(second=40)):
        assert client.post("/account/login/second-step/", {"code": code_now(user)}).url == "/"
        assert client.get("/people/").status_code == 200
        client.post("/account/logout/")
        client.post("/account/login/", sent)
        assert client.post("/account/login/second-step/", {"code": codes[0]}).url == "/"
        assert client.get("/people/").status_code == 200


def test_codes_are_guessed_ten_times_in_five_minutes_and_no_more() -> None:
    user = person_with_password("administrator")
    give_second_factor(user=user)
    client = Client()
    client.post("/account/login/", {"login": user.username, "password": PASSWORD})
    told = [
        client.post("/account/login/second-step/", {"code": f"{number:06}"}).content.decode() for number in range(12)
    ]

    assert [("Too many tries" in text, "That code is not right" in text) for text in told] == (
        [(False, True)] * 10 + [(True, False)] * 2
    )
    assert client.post("/account/login/second-step/", {"code": code_now(user)}).status_code == 200


def test_secrets_are_kept_sealed_and_stay_out_of_the_trail(arrowfen: House) -> None:
    factor = give_second_factor(user=arrowfen.clinician)
    secret = secret_of(factor)
    with connection.cursor() as cursor:
        cursor.execute("SELECT string_agg(data::text, ' ') FROM mfa_authenticator")
        kept = cursor.fetchone()[0]

    assert len(secret) == 32
    assert secret not in kept
    assert Audit.objects.filter(noun__startswith="mfa").count() == 0


def test_who_needs_it_cannot_remove_it(arrowfen: House) -> None:
    client = Client()
    sign_in(client, arrowfen.clinician)
    client.post("/account/second-step/app/remove/")
    assert Authenticator.objects.filter(user=arrowfen.clinician, type="totp").count() == 1
    # The control: a coordinator, whose role needs none, can.
    give_second_factor(user=arrowfen.coordinator)
    sign_in(client, arrowfen.coordinator)
    client.post("/account/second-step/app/remove/")
    assert Authenticator.objects.filter(user=arrowfen.coordinator).count() == 0


def test_a_token_is_made_with_the_second_step_only(arrowfen: House) -> None:
    sent = {"name": "a program", "days": 30}
    without, with_it = without_second_step(arrowfen.coordinator), Client()
    sign_in(with_it, arrowfen.clinician)

    assert without.post("/tokens/make/", sent).url == "/account/second-step/"
    assert with_it.post("/tokens/make/", sent).status_code == 200
    assert [token.user for token in ApiToken.objects.filter(user=arrowfen.coordinator)] == []


def test_a_token_is_made_soon_after_signing_in_or_after_being_asked_again(arrowfen: House) -> None:
    client = Client()
    sign_in(client, arrowfen.clinician)
    with clock.at(MONDAY.replace(minute=14)):
        assert client.get("/tokens/make/").status_code == 200
    with clock.at(MONDAY.replace(minute=16)):
        assert client.get("/tokens/make/").url.startswith("/account/once-more/code/")
