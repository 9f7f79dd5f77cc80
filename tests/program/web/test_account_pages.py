"""Of the library's pages for signing in those that people need, and no others."""

import re

import pytest
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.test import Client
from django.urls import get_resolver

from program.actions.second_factors import code_of, step_now
from program.models import SignInEvent, User
from tests import factories
from tests.program.pages.words import words
from tests.signing_in import sign_in

PASSWORD = "seven velvet otters count two ladders"
THERE = {
    "": 200,
    "login/": 302,
    "login/second-step/": 302,
    "logout/": 200,
    "closed/": 200,
    "once-more/": 200,
    "once-more/code/": 200,
    "password/change/": 200,
    "password/set/": 404,
    "password/reset/": 200,
    "password/reset/done/": 200,
    "password/reset/key/done/": 200,
    "second-step/": 200,
    "second-step/app/": 302,
    "second-step/app/remove/": 200,
    "second-step/recovery-codes/": 200,
    "second-step/recovery-codes/new/": 200,
    "sessions/": 200,
}
NOT_THERE = [
    *("signup/", "signup/passkey/", "email/", "confirm-email/", "confirm-email/abc/", "login/code/"),
    *("login/code/confirm/", "phone/verify/", "phone/change/", "password/reset/confirm/", "inactive/"),
    *("reauthenticate/", "2fa/", "second-step/trust/", "second-step/recovery-codes/download/", "second-step/webauthn/"),
]


@pytest.fixture
def clinician(db: None) -> User:
    user = factories.with_role(None, "clinician", region=factories.RegionFactory())
    user.set_password(PASSWORD)
    user.save()
    return user


@pytest.fixture
def client(clinician: User) -> Client:
    client = Client()
    sign_in(client, clinician)
    return client


def test_every_address_of_the_account_is_listed_here() -> None:
    account = next(one for one in get_resolver().url_patterns if str(one.pattern) == "account/")
    paths = {str(pattern.pattern) for pattern in account.url_patterns}

    assert {path for path in paths if not path.startswith("^")} == set(THERE)
    assert [path for path in paths if path.startswith("^")] == [
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$"
    ]


def test_what_people_need_is_there_in_our_words(client: Client) -> None:
    answers = {path: client.get(f"/account/{path}") for path in THERE}

    assert {path: answer.status_code for path, answer in answers.items()} == THERE
    foreign = re.compile(r"two-factor|reauthenticate|authenticator secret|username|deactivate", re.IGNORECASE)
    shown = {path: words(answer) for path, answer in answers.items() if answer.status_code == 200}
    assert {path: foreign.findall(text) for path, text in shown.items() if foreign.search(text)} == {}


@pytest.mark.parametrize("path", NOT_THERE)
def test_nobody_comes_in_by_another_page(client: Client, path: str) -> None:
    for asking in (client, Client()):
        assert [asking.get(f"/account/{path}").status_code, asking.post(f"/account/{path}").status_code] == [404, 404]


def test_the_second_step_is_drawn_without_a_style_or_a_picture_file(clinician: User) -> None:
    client = Client()
    client.force_login(clinician)
    page = client.get("/account/second-step/app/").content.decode()
    [drawn] = re.findall(r'<svg class="qr".*?</svg>', page, re.DOTALL)

    assert [word for word in ("style=", "data:", "<img", "<script>") if word in page] == []
    assert drawn.count("h1v1h-1z") > 200
    secret = client.session["mfa.totp.secret"]
    assert " ".join(secret[at : at + 4] for at in range(0, 32, 4)) in page


def test_setting_it_up_signs_out_everywhere_else(clinician: User) -> None:
    other, here = Client(), Client()
    for one in (other, here):
        one.post("/account/login/", {"login": clinician.username, "password": PASSWORD})
    assert UserSession.objects.filter(user=clinician).count() == 2
    form = here.get("/account/second-step/app/").context["form"]
    here.post("/account/second-step/app/", {"code": code_of(form.secret, step_now())})

    assert [one.get("/tokens/").status_code for one in (here, other)] == [200, 302]
    assert Authenticator.objects.filter(user=clinician).count() == 2
    kinds = list(SignInEvent.objects.filter(user=clinician).order_by("pk").values_list("kind", flat=True))
    assert kinds == ["signed in", "signed in", "second factor set up"]


def test_one_sees_where_one_is_signed_in_and_ends_each_of_it(clinician: User) -> None:
    person = factories.with_role(None, "staff", region=factories.RegionFactory())
    person.set_password(PASSWORD)
    person.save()
    clients = [Client(), Client(), Client()]
    for one in clients:
        one.post("/account/login/", {"login": person.username, "password": PASSWORD})
    listed = clients[0].get("/account/sessions/").context["rows"]
    assert [is_here for _, is_here in listed].count(True) == 1

    by_key = {one.session_key: one.pk for one, _ in listed}
    here = by_key[clients[0].cookies["session"].value]
    assert clients[0].post("/account/sessions/", {"session": here}).status_code == 404
    clients[0].post("/account/sessions/", {"session": by_key[clients[1].cookies["session"].value]})
    assert [one.get("/tokens/").status_code for one in clients] == [200, 302, 200]
    clients[0].post("/account/sessions/")
    assert [one.get("/tokens/").status_code for one in clients] == [200, 302, 302]


def test_nobody_ends_the_sessions_of_others(client: Client) -> None:
    other = factories.with_role(None, "staff", region=factories.RegionFactory())
    other.set_password(PASSWORD)
    other.save()
    theirs = Client()
    theirs.post("/account/login/", {"login": other.username, "password": PASSWORD})
    number = UserSession.objects.get(user=other).pk

    assert client.post("/account/sessions/", {"session": number}).status_code == 404
    assert theirs.get("/tokens/").status_code == 200


def test_who_has_just_changed_the_password_signs_in_again(client: Client, clinician: User) -> None:
    new = "nine copper lanterns follow four herons"
    sent = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    assert client.post("/account/password/change/", sent).status_code == 302

    assert client.get("/tokens/").status_code == 302
    clinician.refresh_from_db()
    assert clinician.check_password(new)


@pytest.mark.parametrize(("proxies", "address"), [(0, "203.0.113.7"), (1, "198.51.100.2")])
def test_whose_address_it_is_says_the_own_proxy_and_nobody_else(clinician: User, settings, proxies, address) -> None:
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = proxies
    Client().post(
        "/account/login/",
        {"login": clinician.username, "password": PASSWORD},
        REMOTE_ADDR="203.0.113.7",
        headers={"X-Forwarded-For": "192.0.2.1, 198.51.100.2"},
    )

    assert UserSession.objects.get(user=clinician).ip == address
