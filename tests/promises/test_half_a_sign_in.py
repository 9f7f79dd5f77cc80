"""The password is one half: it forgets no wrong codes, and what ends a person's ways in ends a half as well."""

from collections.abc import Callable

import pytest
from allauth.mfa.stages import AuthenticateStage
from django.conf import LazySettings
from django.core.cache import cache
from django.test import Client

from program import clock
from program.actions.people import disable_person, enable_person
from program.actions.second_factors import end_sessions, give_second_factor, reset_second_factor
from program.actions.signing_in import make_link, set_password
from program.models import SignInEvent, Tries, User
from program.web.limits import places_of
from program.web.sign_in import SignIn
from tests import factories
from tests.conftest import MONDAY
from tests.signing_in import code_now

PASSWORD = "seven velvet otters count two ladders"
NEW = "nine copper badgers hum four kettles"
LOGIN, SECOND = "/account/login/", "/account/login/second-step/"


class OfTheLibrary(SignIn):
    """The control: the stage as the library has it."""

    def get_login_stages(self) -> list[str]:
        return [f"{AuthenticateStage.__module__}.{AuthenticateStage.__name__}"]


@pytest.fixture
def person(transactional_db: None) -> User:
    user = factories.with_role(None, "clinician", region=factories.RegionFactory())
    user.set_password(PASSWORD)
    user.save()
    give_second_factor(user=user)
    return user


def half_done(user: User) -> Client:
    client = Client()
    assert client.post(LOGIN, {"login": user.username, "password": PASSWORD}).url == SECOND
    return client


def is_asked_for_the_code(client: Client) -> bool:
    return client.get(SECOND).status_code == 200


def is_let_in(client: Client, user: User) -> bool:
    client.post(SECOND, {"code": code_now(user)})
    return client.get("/account/").status_code == 200


def closed_and_opened(user: User) -> None:
    disable_person(user=user, by=user)
    enable_person(user=user, by=user)


ENDS: dict[str, Callable[[User], object]] = {
    "new password": lambda user: set_password(user=User.objects.get(pk=user.pk), password=NEW),
    "signed out everywhere": lambda user: end_sessions(user=user, by=user),
    "closed and opened": closed_and_opened,
}


@pytest.mark.parametrize("what", ENDS)
def test_it_ends_with_what_it_began_with(person: User, what: str) -> None:
    client, control = half_done(person), half_done(person)
    assert is_let_in(control, person)
    with clock.at(MONDAY.replace(minute=1)):
        ENDS[what](person)
        assert is_let_in(client, person) is False
        assert client.get(LOGIN).status_code == 200


@pytest.mark.parametrize("what", ENDS)
def test_with_the_guard_out_it_can_be_finished(person: User, settings: LazySettings, what: str) -> None:
    """The control: the library's own stage, which can always be gone on with."""
    settings.ACCOUNT_ADAPTER = f"{OfTheLibrary.__module__}.{OfTheLibrary.__name__}"
    client = half_done(person)
    with clock.at(MONDAY.replace(minute=1)):
        ENDS[what](person)
        assert is_let_in(client, person) is True


def steps_from(client: Client, address: str) -> list[str]:
    """Where one is sent, at most eight times."""
    seen = []
    for _ in range(8):
        answer = client.get(address)
        if answer.status_code != 302:
            break
        seen.append(address := answer.url)
    return seen


def test_after_a_reset_one_signs_in_anew_instead_of_going_round(person: User, settings: LazySettings) -> None:
    client, round_and_round = half_done(person), half_done(person)
    reset_second_factor(user=person, by=person)

    assert steps_from(client, SECOND) == [LOGIN]
    assert client.post(LOGIN, {"login": person.username, "password": PASSWORD}).url == "/"
    # The control: the library's own stage sends people to and fro for ever.
    settings.ACCOUNT_ADAPTER = f"{OfTheLibrary.__module__}.{OfTheLibrary.__name__}"
    assert len(steps_from(round_and_round, LOGIN)) == 8


def guess(client: Client, rounds: int) -> int:
    """How many wrong codes are looked at, ten at a time, each round five minutes after the one before."""
    looked_at = 0
    for part in range(rounds):
        for number in range(10):
            text = client.post(SECOND, {"code": f"{part * 10 + number:06}"}).content.decode()
            looked_at += "That code is not right" in text
        cache.delete_many([place for user in User.objects.all() for place in places_of(f"code of {user.pk} on None")])
    return looked_at


def test_codes_are_not_guessed_for_ever_by_whoever_knows_the_password(person: User) -> None:
    assert (guess(half_done(person), 6), guess(half_done(person), 6)) == (60, 30)
    assert is_let_in(half_done_or_refused(person), person) is False
    locked = SignInEvent.objects.filter(user=person, kind="locked out").values_list("note", flat=True)
    assert list(locked) == ["on devices not known"]
    # A new link is the way out, as for passwords.
    Client().post(f"/welcome/{make_link(user=person, by=person)}/", {"password": NEW, "again": NEW})
    assert Tries.objects.get(user=person).wrong_in_a_row == 0


def half_done_or_refused(user: User) -> Client:
    client = Client()
    client.post(LOGIN, {"login": user.username, "password": PASSWORD})
    return client


def test_the_whole_sign_in_forgets_the_wrong_ones_and_half_of_it_none(person: User) -> None:
    client = half_done(person)
    guess(client, 1)
    half_done(person)
    assert Tries.objects.get(user=person).wrong_in_a_row == 10

    assert is_let_in(client, person)
    assert Tries.objects.get(user=person).wrong_in_a_row == 0
