"""The part of the table of rights about people: accounts, roles, sign-ins, tokens; `matrix.py` says how to read it."""

from collections.abc import Callable
from typing import Any

from tests.promises.furnished import Furnished

PUBLIC, SIGNED_IN, MANAGE = "public", "signed in", "manage people"


def both(right: str) -> dict[str, str]:
    """A form: the same right to see it and to send it."""
    return {"GET": right, "POST": right}


PERSON = "people/<int:user_id>/"
API: dict[str, dict[str, str]] = {}
PAGES_OF_A_BUILDING: dict[str, dict[str, str]] = {}
OTHERS: dict[str, dict[str, str]] = {
    "welcome/<str:token>/": both(PUBLIC),
    "tokens/": both(SIGNED_IN),
    "tokens/make/": both(SIGNED_IN),
    "people/": {"GET": MANAGE},
    "people/add/": both(MANAGE),
    PERSON: {"GET": MANAGE},
    f"{PERSON}change/": both(MANAGE),
    f"{PERSON}link/": both(MANAGE),
    f"{PERSON}roles/": both(MANAGE),
    f"{PERSON}roles/<int:role_id>/": both(MANAGE),
    f"{PERSON}close/": both(MANAGE),
    f"{PERSON}open/": both(MANAGE),
    f"{PERSON}sessions/": both(MANAGE),
    f"{PERSON}tokens/": {"POST": MANAGE},
    f"{PERSON}second-step/": both(MANAGE),
}
ROW_OF: dict[str, str] = {"user_id": "User", "role_id": "Role"}
# What a POST that makes something must send before anybody asks for the right.
BODIES: dict[str, Callable[[Furnished], dict[str, Any]]] = {}
