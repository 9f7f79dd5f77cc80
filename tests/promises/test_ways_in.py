"""Links, letters and devices: what lets somebody in ends when it should; strangers neither learn nor stop anything."""

import re
import threading
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.conf import LazySettings
from django.core import mail
from django.db import OperationalError, connection, connections, transaction
from django.test import Client

from program import clock
from program.actions.people import disable_person, enable_person
from program.actions.second_factors import give_second_factor
from program.actions.signing_in import count_try, forget_tries, make_link, set_password, use_link
from program.actions.tokens import make_token
from program.models import ApiToken, SignInEvent, Tries, User
from program.models.scoped import scope, set_scope
from program.web.devices import COOKIE
from tests import factories
from tests.conftest import MONDAY, House
from tests.program.pages.words import words
from tests.promises.guessing import answer_to
from tests.promises.unguarded import CountedHasher
from tests.signing_in import sign_in

PASSWORD = "seven velvet otters count two ladders"
NEW = "nine copper badgers hum four kettles"
BOTH = {"password": NEW, "again": NEW}


@pytest.fixture
def person(transactional_db: None) -> User:
    user = factories.UserFactory(email="oona@example.org")
    user.set_password(PASSWORD)
    user.save()
    return user


@pytest.fixture
def administrator(transactional_db: None) -> Client:
    client = Client(raise_request_exception=False)
    sign_in(client, factories.with_role(None, "administrator", name="Ada Example"))
    return client


@pytest.fixture
def dead_mail(settings: LazySettings) -> None:
    """A server that takes nothing: the discard port of this machine (RFC 863), on which nobody listens."""
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9


def strangers_guess(user: User) -> None:
    assert [answer_to(Client(), user.username, "wrong", number) for number in range(10)] == ["checked"] * 10
    assert answer_to(Client(), user.username, PASSWORD) == "refused"


def by_link(client: Client, user: User) -> None:
    client.post(f"/welcome/{make_link(user=user, by=user)}/", BOTH)


def by_change(client: Client, user: User) -> None:
    sent = {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}
    assert client.post("/account/password/change/", sent).status_code == 302


def by_mail(client: Client, user: User) -> None:
    client.post("/account/password/reset/", {"email": user.email})
    page = client.get(re.search(r"/account/password/reset/key/\S+", mail.outbox[-1].body)[0]).url
    assert client.post(page, {"password1": NEW, "password2": NEW}).status_code == 302


@pytest.mark.parametrize("way", [by_link, by_change, by_mail])
def test_a_new_password_lets_its_person_in_while_strangers_guess(person: User, settings: LazySettings, way) -> None:
    settings.EMAIL_HOST = "mail.example.org"
    own = Client()
    if way is by_change:
        assert answer_to(own, person.username, PASSWORD) == "in"
    strangers_guess(person)
    way(own, person)
    # The control: the same browser without what it remembers.
    forgetful = Client()
    assert answer_to(forgetful, person.username, NEW) == "refused"
    assert COOKIE in own.cookies
    assert answer_to(own, person.username, NEW) == "in"


@pytest.mark.parametrize("word", ["oona@example.org", "OONA@example.org"])
def test_who_signs_in_by_address_still_does(person: User, word: str) -> None:
    assert answer_to(Client(), word, PASSWORD) == "in"


def test_a_known_address_takes_as_many_hashes_as_an_unknown_one(person: User, settings: LazySettings) -> None:
    settings.PASSWORD_HASHERS = ["tests.promises.unguarded.CountedHasher", *settings.PASSWORD_HASHERS]
    person.set_password(PASSWORD)
    person.save()
    told = []
    for word in (person.email, person.username, "nobody@example.org", "nobody"):
        CountedHasher.times = 0
        assert answer_to(Client(), word, "wrong") == "checked"
        told.append(CountedHasher.times)

    assert told == [1, 1, 1, 1]


def test_a_dead_mail_server_keeps_no_link_back(person: User, administrator: Client, dead_mail) -> None:
    shown = administrator.post(f"/people/{person.pk}/link/")

    assert (shown.status_code, len(re.findall(r"/welcome/[\w-]{43}/", shown.content.decode()))) == (200, 1)


def test_a_dead_mail_server_does_not_tell_who_exists_and_the_line_names_nobody(
    person: User, dead_mail, caplog: pytest.LogCaptureFixture
) -> None:
    told = []
    for address in (person.email, "nobody@example.org"):
        answer = Client().post("/account/password/reset/", {"email": address}, follow=True)
        told.append((answer.status_code, answer.redirect_chain, words(answer)))

    assert told[0] == told[1]
    lines = [record for record in caplog.records if record.name == "program.web.mailing"]
    assert [line.getMessage() for line in lines] == ["A letter was not sent."]


def test_a_link_opened_where_somebody_is_signed_in_signs_them_out(person: User, administrator: Client) -> None:
    link = f"/welcome/{make_link(user=person, by=person)}/"
    # The control: only looking at it leaves the administrator where they were.
    administrator.get(link)
    assert administrator.get("/people/").status_code == 200
    shown = administrator.post(link, BOTH, follow=True)

    assert shown.wsgi_request.user.is_authenticated is False
    assert f"Sign in as {person.username}" in words(shown)


def test_a_link_of_before_is_dead_after_closing_and_after_another_new_password(person: User) -> None:
    closed = f"/welcome/{make_link(user=person, by=person)}/"
    assert Client().get(closed).status_code == 200
    disable_person(user=person, by=person)
    enable_person(user=person, by=person)
    assert Client().post(closed, BOTH).status_code == 410

    passed = f"/welcome/{make_link(user=person, by=person)}/"
    client = Client()
    answer_to(client, person.username, PASSWORD)
    by_change(client, person)
    assert Client().post(passed, BOTH).status_code == 410


def open_tokens(user: User) -> list[str]:
    with scope([], user_id=user.pk):
        return list(ApiToken.objects.filter(user=user, ended_at=None).values_list("name", flat=True))


@pytest.mark.parametrize("way", [by_link, by_change, by_mail])
def test_tokens_do_not_outlive_the_password(person: User, settings: LazySettings, way) -> None:
    settings.EMAIL_HOST = "mail.example.org"
    other, own = factories.UserFactory(), Client()
    for user in (person, other):
        with scope([], user_id=user.pk):
            make_token(user=user, name="night export", days=90)
    assert answer_to(own, person.username, PASSWORD) == "in"
    way(own, person)

    assert (open_tokens(person), open_tokens(other)) == ([], ["night export"])


def test_an_administrator_sees_the_tokens_of_a_person_and_ends_one(person: User, administrator: Client) -> None:
    for name in ("night export", "day export"):
        with scope([], user_id=person.pk):
            token, _ = make_token(user=person, name=name, days=90)
    page = f"/people/{person.pk}/"
    assert [one.name for one in administrator.get(page).context["tokens"]] == ["day export", "night export"]
    administrator.post(f"{page}tokens/", {"token": token.pk})

    assert open_tokens(person) == ["night export"]
    again = administrator.post(f"{page}tokens/", {"token": token.pk}, follow=True)
    assert "has no such token that works" in words(again)


def test_what_opens_a_way_in_is_asked_for_again_after_a_quarter_of_an_hour(person: User, administrator: Client) -> None:
    ways = [f"/people/{person.pk}/{way}/" for way in ("link", "roles", "second-step", "change")]
    assert [administrator.get(way).status_code for way in ways] == [200] * 4
    with clock.at(MONDAY + timedelta(minutes=14)):
        administrator.get("/people/")
    with clock.at(MONDAY + timedelta(minutes=16)):
        assert [administrator.post(way).url.split("?")[0] for way in ways] == ["/account/once-more/code/"] * 4
        # The control: what opens none goes on.
        assert administrator.get(f"/people/{person.pk}/").status_code == 200
    assert SignInEvent.objects.filter(user=person).count() == 0


def test_ending_ones_own_second_step_ends_tokens_and_is_on_record(arrowfen: House) -> None:
    person, client = arrowfen.coordinator, Client()
    factor = give_second_factor(user=person)
    set_scope([], user_id=person.pk)
    make_token(user=person, name="night export", days=90)
    sign_in(client, person)
    assert client.post("/account/second-step/recovery-codes/new/").status_code == 302
    assert client.post("/account/second-step/app/remove/").status_code == 302

    kinds = list(SignInEvent.objects.filter(user=person).order_by("pk").values_list("kind", flat=True))
    assert kinds == ["token made", "recovery codes made", "token ended", "second factor ended"]
    assert (open_tokens(person), person.authenticator_set.filter(pk=factor.pk).count()) == ([], 0)


def person_first(user: User) -> None:
    """The control: the order of before, in which a sign-in and a link wait for each other."""
    with transaction.atomic():
        User.objects.select_for_update().get(pk=user.pk)
        forget_tries(user=user)


def is_free_for_the_sign_in(user: User, work: Callable[[], object]) -> bool:
    """Whether a sign-in that has counted its try can still write its person down while the other one waits for it."""
    Tries.objects.get_or_create(user=user)

    def other() -> None:
        work()
        connections.close_all()

    thread = threading.Thread(target=other)
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            count_try(user=user, is_known_device=True)
            thread.start()
            waiting = 0
            while not waiting:
                cursor.execute(
                    "SELECT count(*) FROM pg_locks WHERE NOT granted AND pg_backend_pid() = ANY(pg_blocking_pids(pid))"
                )
                (waiting,) = cursor.fetchone()
            User.objects.select_for_update(nowait=True).get(pk=user.pk)
    except OperationalError:
        return False
    finally:
        thread.join()
    return True


def test_a_sign_in_and_a_new_password_at_once_do_not_wait_for_each_other(person: User) -> None:
    assert is_free_for_the_sign_in(person, lambda: person_first(person)) is False
    assert is_free_for_the_sign_in(person, lambda: set_password(user=User.objects.get(pk=person.pk), password=NEW))
    secret = make_link(user=person, by=person)
    assert is_free_for_the_sign_in(person, lambda: use_link(secret=secret, password=PASSWORD))
