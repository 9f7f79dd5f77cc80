"""The queue of the day beside a page of the same frame with nothing on it, in the same run; and its queries."""

from collections.abc import Callable
from statistics import median
from time import perf_counter
from typing import Any

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import path, reverse

from program.config.urls import urlpatterns as ours
from program.web.frame import building_here
from tests.conftest import House
from tests.program.api.arranging import at, booked

ROUNDS = 15


def nothing(request: HttpRequest, building_id: int) -> HttpResponse:
    building_here(request, building_id)
    return render(request, "base.html")


urlpatterns = [path("buildings/<int:building_id>/nothing/", nothing), *ours]


def milliseconds(client: Client, *addresses: str) -> list[float]:
    """The median of some looks at each, in turn, so that what else the machine does weighs on all alike."""
    taken: dict[str, list[float]] = {address: [] for address in addresses}
    for _ in range(ROUNDS + 1):
        for address in addresses:
            began = perf_counter()
            assert client.get(address).status_code == 200
            taken[address].append((perf_counter() - began) * 1000)
    # The first look fills what is kept.
    return [median(those[1:]) for those in taken.values()]


def queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        client.get(address)
    return sum("SAVEPOINT" not in query["sql"] for query in captured)


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    def say(line: str) -> None:
        with capsys.disabled():
            print(line)  # noqa: T201 - the figures are what a benchmark is for

    return say


def test_the_queue_beside_an_empty_page(arrowfen: House, settings: Any, told: Callable[[str], None]) -> None:
    settings.ROOT_URLCONF = __name__
    client = Client()
    client.force_login(arrowfen.aide)
    address = reverse("scheduling:now", args=[arrowfen.building.pk])
    counted = {}
    for count in (8, 80):
        for place in range(len(arrowfen.residents), count):
            booked(arrowfen, arrowfen.resident(room="12"), at(arrowfen, 0, 8 * 60 + place * 6), stations=1)
        empty, full = milliseconds(client, f"/buildings/{arrowfen.building.pk}/nothing/", address)
        counted[count] = queries(client, address)
        told(f"{count:3} in the queue: {full:6.1f} ms, {full / empty:4.1f} times an empty page ({empty:.1f} ms)")

    assert counted == {8: 16, 80: 16}
