"""Sessions end when they should, by the service's clock and at the next request; rights are asked for each time."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.conf import LazySettings
from django.test import Client
from django.urls import reverse

from program import clock
from program.actions.people import disable_person, end_role
from program.actions.second_factors import end_sessions, reset_second_factor
from program.actions.shifts import add_shift
from program.actions.signing_in import set_password
from program.actions.tokens import make_token
from program.models import Role, Shift, User
from program.models.scoped import set_scope
from tests import factories
from tests.conftest import MONDAY, House
from tests.signing_in import sign_in

GUARD = "program.web.sessions.SessionLimitMiddleware"
PASSWORD = "seven velvet otters count two ladders"


def signed_in(user: User) -> Client:
    client = Client()
    sign_in(client, user)
    return client


def is_in(client: Client) -> bool:
    """Whether the next request is that of somebody signed in, by the pages and by the API alike."""
    page, api = client.get("/tokens/").status_code, client.get("/api/me/").status_code
    assert (page, api) in {(200, 200), (302, 401)}
    return page == 200


def after(minutes: float, client: Client) -> bool:
    with clock.at(MONDAY + timedelta(minutes=minutes)):
        return is_in(client)


def test_at_a_desk_half_an_hour_without_a_sign_of_life_ends_it(arrowfen: House) -> None:
    for user in (arrowfen.coordinator, arrowfen.clinician):
        client = signed_in(user)
        assert [after(29, client), after(58, client), after(88, client), after(88.1, client)] == [
            True,
            True,
            False,
            False,
        ]


def test_where_every_way_in_can_be_opened_a_quarter_of_an_hour_ends_it(db: None) -> None:
    client = signed_in(factories.with_role(None, Role.Kind.ADMINISTRATOR))

    assert [after(14, client), after(28, client), after(43, client)] == [True, True, False]


def test_a_phone_on_the_floor_may_lie_through_lunch(arrowfen: House) -> None:
    client = signed_in(arrowfen.aide)

    assert [after(239, client), after(239 + 240, client)] == [True, False]


def test_after_twelve_hours_it_is_over_however_busy(arrowfen: House) -> None:
    client = signed_in(arrowfen.coordinator)

    assert all(after(minutes, client) for minutes in range(20, 720, 20))
    assert not after(720, client)


def test_with_the_guard_out_it_lives_on(arrowfen: House, settings: LazySettings) -> None:
    """The control: the same clock, without what looks at it."""
    settings.MIDDLEWARE = [name for name in settings.MIDDLEWARE if name != GUARD]
    client = signed_in(arrowfen.coordinator)

    assert [after(88, client), after(721, client)] == [True, True]


def the_end_of_a_role(user: User) -> None:
    end_role(role=user.roles.get(), until=clock.now())


ENDS: dict[str, Callable[[User], object]] = {
    "account closed": lambda user: disable_person(user=user, by=user),
    "password changed": lambda user: set_password(user=User.objects.get(pk=user.pk), password=PASSWORD),
    "signed out everywhere": lambda user: end_sessions(user=user, by=user),
    "second step reset": lambda user: reset_second_factor(user=user, by=user),
}


@pytest.mark.parametrize("what", ENDS)
def test_it_is_dead_at_the_next_request(arrowfen: House, what: str) -> None:
    user = arrowfen.clinician
    clients = [signed_in(user) for _ in range(3)]
    assert [is_in(client) for client in clients] == [True] * 3
    with clock.at(MONDAY + timedelta(seconds=1)):
        # The control is the first half: the same requests, one second before.
        ENDS[what](user)
        assert [is_in(client) for client in clients] == [False] * 3


def test_a_copied_cookie_is_dead_once_the_person_has_signed_out(arrowfen: House) -> None:
    client, copy = signed_in(arrowfen.coordinator), Client()
    copy.cookies["session"] = client.cookies["session"].value
    assert is_in(copy)
    client.post(reverse("account_logout"))

    assert not is_in(copy)


def test_signing_in_gives_the_session_a_new_number(arrowfen: House) -> None:
    user = arrowfen.coordinator
    user.set_password(PASSWORD)
    user.save()
    client = Client()
    session = client.session
    session["planted"] = True
    session.save()
    client.cookies["session"] = session.session_key
    client.post("/account/login/", {"login": user.username, "password": PASSWORD})

    assert is_in(client)
    assert client.cookies["session"].value != session.session_key


def test_a_role_that_has_ended_is_dead_at_the_next_request(arrowfen: House) -> None:
    client, page = signed_in(arrowfen.coordinator), reverse("program:residents", args=[arrowfen.building.pk])
    assert client.get(page).status_code == 200
    the_end_of_a_role(arrowfen.coordinator)

    assert client.get(page).status_code == 404


def test_what_was_allowed_when_the_page_was_shown_is_asked_again_when_it_is_sent(arrowfen: House) -> None:
    client, page = signed_in(arrowfen.coordinator), reverse("program:add-shift", args=[arrowfen.building.pk])
    sent = {"user": arrowfen.aide.pk, "first_on": "2026-12-05", "starts": "09:00", "ends": "11:00"}
    assert client.get(page).status_code == 200
    the_end_of_a_role(arrowfen.coordinator)

    assert (client.post(page, sent).status_code, Shift.objects.count()) == (404, 0)
    # The control: what the page would have done without asking again.
    set_scope([arrowfen.building.pk], user_id=None)
    add_shift(
        building=arrowfen.building,
        user=arrowfen.aide,
        first_on=MONDAY.date(),
        last_on=MONDAY.date(),
        starts_minute=9 * 60,
        ends_minute=10 * 60,
        by=arrowfen.coordinator,
    )
    assert Shift.objects.count() == 1


def test_who_no_longer_manages_people_adds_nobody(db: None) -> None:
    first, second = (factories.with_role(None, Role.Kind.ADMINISTRATOR) for _ in range(2))
    client, page = signed_in(second), reverse("program:add-person")
    sent = {"name": "Nova Newling", "username": "nova", "kind": "administrator", "where": ""}
    assert client.get(page).status_code == 200
    the_end_of_a_role(second)

    assert (client.post(page, sent).status_code, User.objects.filter(username="nova").count()) == (403, 0)
    # The control: with the role the same is done.
    assert signed_in(first).post(page, sent).status_code == 200
    assert User.objects.filter(username="nova").count() == 1


def asked_with(text: str) -> int:
    return Client().get("/api/me/", headers={"Authorization": f"Bearer {text}"}).status_code


@pytest.mark.parametrize("what", [*ENDS, "expired"])
def test_a_token_is_dead_at_the_next_request(arrowfen: House, what: str) -> None:
    user = arrowfen.clinician
    sign_in(Client(), user)
    set_scope([], user_id=user.pk)
    _, text = make_token(user=user, name="a program", days=1)
    assert asked_with(text) == 200
    if what in ENDS:
        set_scope([], user_id=None, is_administration=True)
        ENDS[what](user)
        assert asked_with(text) == 401
    with clock.at(MONDAY + timedelta(days=1)):
        assert asked_with(text) == 401
