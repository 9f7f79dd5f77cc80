"""Guessing is slow, also in parallel, and locks nobody out of their own device."""

import os
import subprocess
import sys

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client

from program.actions.signing_in import make_link
from program.models import Tries, User
from program.web.devices import COOKIE
from program.web.limits import places_of
from tests import factories
from tests.promises.guessing import answer_to
from tests.promises.racing import tell

RIGHT = "seven velvet otters count two ladders"
UNGUARDED = "tests.promises.unguarded.Unguarded"


@pytest.fixture
def person(transactional_db: None) -> User:
    user = factories.UserFactory()
    user.set_password(RIGHT)
    user.save()
    return user


def from_another_process(user: User, tries: int, *adapter: str) -> "subprocess.Popen[str]":
    command = [sys.executable, "-m", "tests.promises.guessing", connection.settings_dict["NAME"], user.username]
    environment = os.environ | {"DJANGO_SETTINGS_MODULE": "tests.settings"}
    return subprocess.Popen([*command, str(tries), *adapter], stdout=subprocess.PIPE, text=True, env=environment)


def told_by(*processes: "subprocess.Popen[str]") -> tuple[int, int, int]:
    """Checked, refused and tried, of all processes together."""
    lines = [process.communicate(timeout=120)[0].strip().splitlines()[-1].split() for process in processes]
    return tuple(sum(int(line[place]) for line in lines) for place in range(3))


def test_of_200_parallel_guesses_from_two_processes_ten_are_looked_at(person: User) -> None:
    checked, refused, tried = told_by(*[from_another_process(person, 100) for _ in range(2)])

    tell("guesses at one account looked at within five minutes beyond ten", tried=tried, bad=checked - 10)
    assert (checked, refused, tried) == (10, 190, 200)
    # The right password as well, from a place that nobody knows.
    assert answer_to(Client(), person.username, RIGHT) == "refused"


def test_with_the_guard_out_all_of_them_are_looked_at(person: User) -> None:
    """The control: the same processes, asking a sign-in that counts nothing."""
    assert told_by(*[from_another_process(person, 30, UNGUARDED) for _ in range(2)]) == (60, 0, 60)


def test_who_has_signed_in_here_before_comes_in_while_strangers_guess(person: User) -> None:
    own = Client()
    assert answer_to(own, person.username, RIGHT) == "in"
    own.get("/account/logout/")
    own.post("/account/logout/")
    strangers = [answer_to(Client(), person.username, "wrong", number) for number in range(12)]

    assert strangers == ["checked"] * 10 + ["refused"] * 2
    assert answer_to(own, person.username, RIGHT) == "in"
    # The control: the same browser without what it remembers.
    forgetful = Client()
    assert answer_to(forgetful, person.username, RIGHT) == "refused"
    # What somebody else's browser remembers helps with nobody's account but theirs.
    other = factories.UserFactory()
    other.set_password(RIGHT)
    other.save()
    answer_to(forgetful, other.username, RIGHT)
    forgetful.post("/account/logout/")
    assert COOKIE in forgetful.cookies
    assert answer_to(forgetful, person.username, RIGHT) == "refused"


def test_a_name_that_nobody_has_answers_like_one_that_somebody_has(person: User) -> None:
    told = [answer_to(Client(), "nobody-of-that-name", "wrong", number) for number in range(11)]

    assert told == ["checked"] * 10 + ["refused"]


def test_the_address_and_the_name_of_a_person_are_counted_as_one(person: User) -> None:
    User.objects.filter(pk=person.pk).update(email="someone@example.org")
    for number in range(5):
        answer_to(Client(), person.username, "wrong", number)
        answer_to(Client(), "SOMEONE@example.org", "wrong", number)

    assert answer_to(Client(), person.username.upper(), "wrong") == "refused"


def five_minutes_later(user: User, *devices: str | None) -> None:
    for device in devices:
        cache.delete_many(places_of(f"password of {user.pk} on {device}"))


def test_a_hundred_wrong_tries_in_a_row_end_in_a_new_link(person: User) -> None:
    own = Client()
    answer_to(own, person.username, RIGHT)
    own.post("/account/logout/")
    told = []
    for _ in range(12):
        told += [answer_to(Client(), person.username, "wrong", number) for number in range(10)]
        five_minutes_later(person, None)
    # Strangers are stopped before they have used up what is kept for the person's own device.
    assert (told.count("checked"), answer_to(Client(), person.username, RIGHT)) == (90, "refused")
    assert [answer_to(own, person.username, "wrong") for _ in range(9)] == ["checked"] * 9
    assert answer_to(own, person.username, RIGHT) == "in"
    assert Tries.objects.get(user=person).wrong_in_a_row == 0

    Tries.objects.filter(user=person).update(wrong_in_a_row=99)
    five_minutes_later(person, None)
    own.post("/account/logout/")
    last = [answer_to(own, person.username, "wrong"), answer_to(own, person.username, RIGHT)]
    assert last == ["checked", "refused"]

    secret = make_link(user=person, by=person)
    Client().post(f"/welcome/{secret}/", {"password": RIGHT + " again", "again": RIGHT + " again"})
    assert answer_to(Client(), person.username, RIGHT + " again") == "in"
