"""Codes and links work once: of fifty who send the same at the same time a single one gets in."""

import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.contrib.auth.tokens import default_token_generator
from django.db import connections
from django.test import Client

from program import clock
from program.actions.second_factors import give_second_factor, secret_of, step_of, use_code
from program.actions.signing_in import link_of, make_link, set_password, use_link
from program.models import User
from program.rules.errors import Refused
from tests import factories
from tests.conftest import MONDAY
from tests.promises.racing import at_once, tell
from tests.signing_in import code_now

PASSWORD = "seven velvet otters count two ladders"
MANY = 50
# As many as have a connection at once, so that all have looked before anybody writes.
TOGETHER = 6


@pytest.fixture
def person(transactional_db: None) -> User:
    user = factories.UserFactory()
    user.set_password(PASSWORD)
    user.save()
    give_second_factor(user=user)
    return user


def recovery_code(user: User) -> str:
    return RecoveryCodes(Authenticator.objects.get(user=user, type="recovery_codes")).get_unused_codes()[0]


def race(works: list) -> Counter:
    told = Counter(at_once(works, is_one_blow=True))
    tell("times one code worked beyond the first", tried=len(works), bad=told[True] - 1)
    return told


def test_a_code_of_the_app_works_once(person: User) -> None:
    code = code_now(person)

    assert race([lambda: use_code(user=person, code=code) is not None] * MANY)[True] == 1
    # Nor in the next step, in which it would still be right.
    with clock.at(MONDAY.replace(second=31)):
        assert step_of(secret=secret_of(Authenticator.objects.get(user=person, type="totp")), code=code) is not None
        assert use_code(user=person, code=code) is None


def test_a_recovery_code_works_once(person: User) -> None:
    code = recovery_code(person)

    assert race([lambda: use_code(user=person, code=code) is not None] * MANY)[True] == 1


def test_a_one_time_link_works_once(person: User) -> None:
    secret = make_link(user=person, by=person)

    def use(number: int) -> bool:
        try:
            use_link(secret=secret, password=f"{PASSWORD} {number}")
        except Refused:
            return False
        return True

    assert race([lambda number=number: use(number) for number in range(MANY)])[True] == 1


def test_a_link_for_a_forgotten_password_works_once(person: User) -> None:
    token = default_token_generator.make_token(person)

    def use(number: int) -> bool:
        read = User.objects.get(pk=person.pk)
        if not default_token_generator.check_token(read, token):
            return False
        try:
            set_password(user=read, password=f"{PASSWORD} {number}")
        except Refused:
            return False
        return True

    assert race([lambda number=number: use(number) for number in range(MANY)])[True] == 1


def test_with_the_guards_out_each_works_for_everybody(person: User) -> None:
    """The control: the same codes and link, looked at first and written afterwards."""
    app = Authenticator.objects.get(user=person, type="totp")
    code, spare, secret = code_now(person), recovery_code(person), make_link(user=person, by=person)
    all_have_looked = threading.Barrier(TOGETHER)

    def look_then_write(is_right: bool) -> bool:
        all_have_looked.wait(timeout=20)
        return is_right

    assert at_once([lambda: step_of(secret=secret_of(app), code=code) is not None] * TOGETHER) == [True] * TOGETHER
    spared = [lambda: look_then_write(recovery_code(person) == spare)] * TOGETHER
    assert at_once(spared, is_one_blow=True) == [True] * TOGETHER
    linked = [lambda: look_then_write(link_of(secret=secret).user == person)] * TOGETHER
    assert at_once(linked, is_one_blow=True) == [True] * TOGETHER


def test_through_the_pages_one_of_fifty_comes_in(person: User) -> None:
    clients = [Client() for _ in range(MANY)]
    for number, client in enumerate(clients):
        sent = {"login": person.username, "password": PASSWORD}
        assert client.post("/account/login/", sent, REMOTE_ADDR=f"10.9.0.{number}").url == "/account/login/second-step/"
    code = code_now(person)

    def send(client: Client) -> bool:
        try:
            return client.post("/account/login/second-step/", {"code": code}).status_code == 302
        finally:
            connections.close_all()

    with ThreadPoolExecutor(8) as pool:
        came_in = list(pool.map(send, clients))

    assert came_in.count(True) == 1
    assert [client.get("/account/").status_code for client in clients].count(200) == 1
