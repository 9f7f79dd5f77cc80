"""Wrong passwords by the hundred, from a process of its own: `python -m` this DATABASE NAME TRIES [ADAPTER]."""

import os
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import django
from django.conf import settings
from django.db import connections
from django.test import Client

CHECKED, REFUSED = "do not go together", "Too many tries"


def answer_to(client: Client, name: str, password: str, number: int = 0) -> str:
    """What the sign-in page says to one try from an address of its own, which a header gives out for yet another."""
    answer = client.post(
        "/account/login/",
        {"login": name, "password": password},
        REMOTE_ADDR=f"10.{os.getpid() % 250}.{number // 250}.{number % 250}",
        headers={"X-Forwarded-For": f"192.0.2.{number % 250}, 198.51.100.{number % 250}"},
    )
    if answer.status_code == 302:
        return "in"
    text = answer.content.decode()
    return "checked" if CHECKED in text else "refused" if REFUSED in text else f"broken {answer.status_code}"


def guess(name: str, tries: int) -> Counter[str]:
    def once(number: int) -> str:
        try:
            return answer_to(Client(), name, f"wrong-{number}", number)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(16) as pool:
        return Counter(pool.map(once, range(tries)))


if __name__ == "__main__":
    django.setup()
    database, person, count, *adapter = sys.argv[1:]
    connections["default"].settings_dict["NAME"] = database
    if adapter:
        settings.ACCOUNT_ADAPTER = adapter[0]
    told = guess(person, int(count))
    sys.stdout.write(f"{told['checked']} {told['refused']} {count}\n")
