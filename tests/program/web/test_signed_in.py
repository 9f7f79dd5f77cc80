"""A form sent after the sign-in has ended: not done, said so, and back to the page it stood on."""

from urllib.parse import parse_qs, urlsplit

from django.contrib.messages import get_messages
from django.test import Client
from django.urls import reverse

from program.web.signed_in import NOT_DONE
from tests.conftest import House


def sent(referer: str, house: House):
    address = reverse("program:session-set", args=[house.building.pk, 1])
    return Client().post(address, {"repetitions": "9"}, headers={"Referer": referer})


def next_of(answer) -> str:
    assert answer.status_code == 302
    return parse_qs(urlsplit(answer.headers["Location"]).query)["next"][0]


def test_it_leads_back_to_the_page_and_says_that_nothing_was_saved(arrowfen: House) -> None:
    page = reverse("program:session", args=[arrowfen.building.pk, 1])
    answer = sent(f"http://testserver{page}?again=1", arrowfen)

    assert next_of(answer) == page
    assert [str(message) for message in get_messages(answer.wsgi_request)] == [NOT_DONE]


def test_from_elsewhere_it_leads_to_the_first_page(arrowfen: House) -> None:
    assert [next_of(sent(referer, arrowfen)) for referer in ("https://elsewhere.example.org/trap/", "")] == ["/", "/"]


def test_a_page_that_was_only_looked_at_is_come_back_to(arrowfen: House) -> None:
    page = reverse("program:session", args=[arrowfen.building.pk, 1])

    assert next_of(Client().get(page)) == page
