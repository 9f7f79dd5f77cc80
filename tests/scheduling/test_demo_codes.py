"""A visitor of the demo passes the second step without a phone; nobody else does so by these commands."""

from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from program.models import User, scope
from scheduling.scenario import ADMINISTRATOR, recovery_codes_of, seed_organisation

PASSWORD = "seven quiet herons admire two copper kettles"


@pytest.fixture
def demo(db: None, settings: Any, tmp_path: Path) -> User:
    settings.DEMO, settings.DATA_DIR = True, tmp_path
    with scope([], is_administration=True):
        seed_organisation(password=PASSWORD)
    return User.objects.get(username=ADMINISTRATOR)


def told(command: str, *words: str) -> str:
    out = StringIO()
    call_command(command, *words, stdout=out)
    return out.getvalue()


def half_in() -> Client:
    client = Client()
    sent = {"login": ADMINISTRATOR, "password": PASSWORD}
    assert client.post("/account/login/", sent).url == "/account/login/second-step/"
    return client


def test_the_code_that_is_printed_lets_its_person_in(demo: User) -> None:
    client = half_in()
    client.post("/account/login/second-step/", {"code": told("demo_code", ADMINISTRATOR).strip()})

    assert client.get("/people/").status_code == 200


def test_so_does_a_recovery_code_that_is_printed(demo: User) -> None:
    [line] = [line for line in told("demo_logins").splitlines() if recovery_codes_of(demo)[0] in line]
    client = half_in()
    client.post("/account/login/second-step/", {"code": line.split()[1]})

    assert client.get("/people/").status_code == 200


def test_a_second_seed_leaves_the_codes_as_they_are(demo: User) -> None:
    before = recovery_codes_of(demo)
    with scope([], is_administration=True):
        seed_organisation(password=PASSWORD)

    assert recovery_codes_of(demo) == before


def test_nobody_elses_code_is_printed(demo: User) -> None:
    with pytest.raises(CommandError, match="Nobody of the demo has that name"):
        told("demo_code", "somebody@example.org")


def test_no_code_is_printed_outside_the_demo(demo: User, settings: Any) -> None:
    settings.DEMO = False
    with pytest.raises(CommandError, match="demo only"):
        told("demo_code", ADMINISTRATOR)
