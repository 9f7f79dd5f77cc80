"""People for an administrator, the page behind a one-time link, and one's own tokens."""

import re
from datetime import timedelta

import pytest
from django.core import mail
from django.test import Client

from program import access, clock
from program.models import ApiToken, Role, SignInEvent, User
from program.models.scoped import set_scope
from tests import factories
from tests.conftest import MONDAY, House
from tests.program.pages.words import words
from tests.signing_in import sign_in

PASSWORD = "seven velvet otters count two ladders"
NOVA = {"name": "Nova Newling", "username": "nova", "email": "", "kind": "staff"}


@pytest.fixture
def administrator(db: None) -> Client:
    client = Client()
    sign_in(client, factories.with_role(None, Role.Kind.ADMINISTRATOR, name="Ada Example"))
    return client


def link_in(page: str) -> str:
    return re.search(r"/welcome/[^<]+/", page)[0]


def test_people_are_found_by_name_and_sign_in_name(arrowfen: House, administrator: Client) -> None:
    User.objects.filter(pk=arrowfen.aide.pk).update(name="Oona Quill")

    assert [one.name for one, _ in administrator.get("/people/?name=quill").context["rows"]] == ["Oona Quill"]
    by_word = administrator.get("/people/", {"name": arrowfen.aide.username.upper()}).context["rows"]
    assert (by_word[0][0].pk, by_word[0][1]) == (arrowfen.aide.pk, "staff at Arrowfen House")
    assert "Nobody fits this search" in words(administrator.get("/people/?name=nobody"))


def test_the_list_costs_the_same_at_any_length(arrowfen: House, administrator: Client, queries) -> None:
    few = queries(administrator, "/people/")
    for _ in range(20):
        factories.with_role(arrowfen.building, "staff")

    assert queries(administrator, "/people/") == few


def test_somebody_new_comes_in_by_the_link_that_is_shown_once(arrowfen: House, administrator: Client) -> None:
    shown = administrator.post("/people/add/", NOVA | {"where": f"building-{arrowfen.building.pk}"})
    link = link_in(shown.content.decode())
    nova = User.objects.get(username="nova")
    assert link not in administrator.get(f"/people/{nova.pk}/").content.decode()
    visitor = Client()
    assert "You will sign in as nova." in words(visitor.get(link))
    assert "Sign in as nova" in words(visitor.post(link, {"password": PASSWORD, "again": PASSWORD}, follow=True))
    assert visitor.post("/account/login/", {"login": "nova", "password": PASSWORD}).url == "/"

    for again in (visitor.get(link), Client().post(link, {"password": PASSWORD, "again": PASSWORD})):
        assert (again.status_code, "This link no longer works" in words(again)) == (410, True)
    kinds = list(SignInEvent.objects.filter(user=nova).order_by("pk").values_list("kind", flat=True))
    assert kinds == ["link made", "link used", "signed in"]


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({"password": PASSWORD, "again": "otherwise"}, "The two are not the same."),
        ({"password": "short", "again": "short"}, "at least 12 characters"),
        ({"password": "", "again": ""}, "Fill this in"),
    ],
)
def test_a_password_that_cannot_be_is_refused_and_the_link_still_works(
    arrowfen: House, administrator: Client, sent: dict, sentence: str
) -> None:
    link = link_in(administrator.post(f"/people/{arrowfen.aide.pk}/link/").content.decode())
    refused = Client().post(link, sent)

    assert (refused.status_code, sentence in words(refused)) == (422, True)
    assert Client().get(link).status_code == 200


def test_the_link_is_mailed_only_where_mail_can_be_sent(
    arrowfen: House, administrator: Client, settings, django_capture_on_commit_callbacks
) -> None:
    User.objects.filter(pk=arrowfen.aide.pk).update(email="oona@example.org")
    for host in ("", "mail.example.org"):
        settings.EMAIL_HOST = host
        with django_capture_on_commit_callbacks(execute=True):
            shown = administrator.post(f"/people/{arrowfen.aide.pk}/link/")

    assert [sent.to for sent in mail.outbox] == [["oona@example.org"]]
    assert link_in(shown.content.decode()) in mail.outbox[0].body


def test_a_role_is_given_for_days_by_the_clock_of_the_building(arrowfen: House, administrator: Client) -> None:
    user = factories.UserFactory()
    where = f"building-{arrowfen.building.pk}"
    sent = {"kind": "clinician", "where": where, "first_on": "2026-12-01", "last_on": "2026-12-02"}
    administrator.post(f"/people/{user.pk}/roles/", sent)

    role = user.roles.get()
    zone = arrowfen.building.zone
    assert (role.since.astimezone(zone).isoformat(), role.until.astimezone(zone).isoformat()) == (
        "2026-12-01T00:00:00-05:00",
        "2026-12-03T00:00:00-05:00",
    )
    page = words(administrator.get(f"/people/{user.pk}/"))
    assert "Clinician at Arrowfen House 1 Dec 2026 to 2 Dec 2026, not begun" in page


def test_a_role_of_today_holds_at_once_and_ends_at_once(arrowfen: House, administrator: Client) -> None:
    user = factories.UserFactory()
    where = f"region-{arrowfen.building.region_id}"
    administrator.post(f"/people/{user.pk}/roles/", {"kind": "staff", "where": where, "first_on": "2026-11-30"})
    assert access.kinds_in(user, arrowfen.building) == {"staff"}
    with clock.at(MONDAY + timedelta(minutes=1)):
        administrator.post(f"/people/{user.pk}/roles/{user.roles.get().pk}/", {"last_on": ""})
        assert access.kinds_in(user, arrowfen.building) == frozenset()


def test_the_last_day_is_not_before_the_first(arrowfen: House, administrator: Client) -> None:
    sent = {"kind": "staff", "where": "", "first_on": "2026-12-02", "last_on": "2026-12-01"}
    refused = administrator.post(f"/people/{arrowfen.aide.pk}/roles/", sent)

    assert "The last day cannot be before the first." in words(refused)


def test_the_last_administrator_cannot_leave_by_the_page(administrator: Client) -> None:
    ada = User.objects.get(name="Ada Example")
    refused = administrator.post(f"/people/{ada.pk}/close/")

    assert (refused.status_code, "Nobody would be left who can add people." in words(refused)) == (409, True)
    assert administrator.get("/people/").status_code == 200


def test_a_person_is_signed_out_closed_opened_and_reset(arrowfen: House, administrator: Client) -> None:
    theirs, page = Client(), f"/people/{arrowfen.clinician.pk}/"
    sign_in(theirs, arrowfen.clinician)
    told = []
    with clock.at(MONDAY + timedelta(seconds=1)):
        for way in ("sessions/", "second-step/", "close/", "open/"):
            told.append(administrator.post(f"{page}{way}").status_code)
        assert theirs.get("/tokens/").status_code == 302
        events = administrator.get(page).context["events"]

    assert told == [302] * 4
    # Latest first: closing an account signs its person out as well.
    assert [(event.kind, event.by.name) for event in events] == [
        ("account opened", "Ada Example"),
        ("sessions ended", "Ada Example"),
        ("account closed", "Ada Example"),
        ("second factor reset", "Ada Example"),
        ("sessions ended", "Ada Example"),
    ]


def test_outside_the_buildings_only_an_administrator_has_a_menu(arrowfen: House, administrator: Client) -> None:
    aide = Client()
    sign_in(aide, arrowfen.aide)

    assert [label for label, _, _ in administrator.get("/people/").context["nav"]] == ["Buildings", "People"]
    assert aide.get("/tokens/").context["nav"] == []
    assert "My sign-in" in words(aide.get("/tokens/"))


def ask(text: str) -> int:
    return Client().get("/api/me/", headers={"Authorization": f"Bearer {text}"}).status_code


def test_a_token_is_shown_once_and_asks_as_its_person(arrowfen: House) -> None:
    client = Client()
    sign_in(client, arrowfen.clinician)
    made = client.post("/tokens/make/", {"name": "night export", "days": 90}).content.decode()
    text = re.search(r'<code class="secret">([\w-]{43})</code>', made)[1]

    me = Client().get("/api/me/", headers={"Authorization": f"Bearer {text}"}).json()
    assert me["id"] == arrowfen.clinician.pk
    page = client.get("/tokens/").content.decode()
    assert (text in page, text[:8] in page) == (False, True)
    set_scope([], user_id=arrowfen.clinician.pk)
    token = ApiToken.objects.get()
    assert (token.last_used_at, text in str(vars(token))) == (MONDAY, False)
    client.post("/tokens/", {"token": token.pk})
    assert ask(text) == 401


def test_a_token_writes_with_the_rights_of_its_person_and_needs_no_cookie(arrowfen: House) -> None:
    client = Client(enforce_csrf_checks=True)
    sign_in(client, arrowfen.clinician)
    plain = Client()
    sign_in(plain, arrowfen.clinician)
    made = plain.post("/tokens/make/", {"name": "a program", "days": 1}).content.decode()
    text = re.search(r'<code class="secret">([\w-]{43})</code>', made)[1]
    headers = {"Authorization": f"Bearer {text}", "Idempotency-Key": "one-key-of-a-program"}
    sent = {"building": arrowfen.building.pk, "name": "East"}
    answers = [
        Client(enforce_csrf_checks=True).post(path, sent, content_type="application/json", headers=headers).status_code
        for path in ("/api/units/", "/people/add/")
    ]

    # A clinician does not change places; and a token opens no page.
    assert answers == [403, 403]
    assert Client().get("/tokens/", headers=headers).status_code == 302


@pytest.mark.parametrize("sent", ["", "x", "x" * 43, "\N{SNOWMAN}"])
def test_an_unknown_token_is_nobody_even_beside_a_session(arrowfen: House, sent: str) -> None:
    client = Client()
    sign_in(client, arrowfen.coordinator)

    assert client.get("/api/me/", headers={"Authorization": f"Bearer {sent}"}).status_code == 401
    assert client.get("/api/me/").status_code == 200


def test_the_last_use_is_written_once_a_minute(arrowfen: House, django_assert_num_queries) -> None:
    client = Client()
    sign_in(client, arrowfen.clinician)
    made = client.post("/tokens/make/", {"name": "a program", "days": 1}).content.decode()
    text = re.search(r'<code class="secret">([\w-]{43})</code>', made)[1]
    used = []
    for seconds in (0, 59, 60):
        with clock.at(MONDAY + timedelta(seconds=seconds)):
            ask(text)
            set_scope([], user_id=arrowfen.clinician.pk)
            used.append((ApiToken.objects.get().last_used_at - MONDAY).total_seconds())

    assert used == [0, 0, 60]


def test_tokens_of_others_are_not_there(arrowfen: House) -> None:
    client, other = Client(), Client()
    sign_in(client, arrowfen.clinician)
    sign_in(other, factories.with_role(arrowfen.building, "clinician"))
    client.post("/tokens/make/", {"name": "a program", "days": 1})
    set_scope([], user_id=arrowfen.clinician.pk)
    number = ApiToken.objects.get().pk

    assert other.post("/tokens/", {"token": number}).status_code == 422
    assert "No tokens" in words(other.get("/tokens/"))


def test_a_role_without_a_first_day_begins_now_wherever_the_place_is(arrowfen: House, administrator: Client) -> None:
    user = factories.UserFactory()
    form = administrator.get(f"/people/{user.pk}/roles/").context["form"]
    assert form["first_on"].value() is None
    administrator.post(f"/people/{user.pk}/roles/", {"kind": "staff", "where": f"building-{arrowfen.building.pk}"})

    assert user.roles.get().since == MONDAY


def test_a_name_and_an_address_are_corrected_by_the_page(arrowfen: House, administrator: Client) -> None:
    page = f"/people/{arrowfen.aide.pk}/change/"
    assert administrator.get(page).context["form"]["username"].value() == arrowfen.aide.username
    taken = administrator.post(page, {"name": "Oona", "username": arrowfen.clinician.username, "email": ""})
    assert (taken.status_code, "That name is taken." in words(taken)) == (422, True)
    sent = {"name": "Oona Quill", "username": "oona", "email": "Oona@example.org"}
    assert administrator.post(page, sent).url == f"/people/{arrowfen.aide.pk}/"

    arrowfen.aide.refresh_from_db()
    assert (arrowfen.aide.name, arrowfen.aide.username, arrowfen.aide.email) == (
        "Oona Quill",
        "oona",
        "oona@example.org",
    )
