"""Where no mail can be sent, nobody is told that it was, and nothing breaks."""

import pytest
from django.core import mail
from django.test import Client

from tests import factories


@pytest.fixture
def known(db: None) -> str:
    return factories.UserFactory(email="known@example.org").email


@pytest.mark.parametrize("address", ["known@example.org", "nobody@example.org"])
def test_without_a_mail_server_people_are_sent_to_the_administrator(known, settings, address):
    settings.EMAIL_HOST = ""
    client = Client()

    assert "Forgot" not in client.get("/account/login/").content.decode()
    answered = client.post("/account/password/reset/", {"email": address}, follow=True)

    assert answered.status_code == 200
    assert "No e-mail was sent" in answered.content.decode()
    assert mail.outbox == []


def test_with_one_the_link_goes_out(known, settings):
    settings.EMAIL_HOST = "mail.example.org"
    answered = Client().post("/account/password/reset/", {"email": known}, follow=True)

    assert "a link is on its way" in answered.content.decode()
    assert [sent.to for sent in mail.outbox] == [[known]]
