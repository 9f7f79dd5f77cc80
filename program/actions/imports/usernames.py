"""The name that a new person signs in with."""

import re
import unicodedata

from program.models import User

LONGEST = 60


def username_for(*, name: str, email: str = "") -> str:
    """The address where there is one, else `given.family`; numbered when somebody else has it."""
    wanted = email if email and len(email) <= LONGEST else _from_name(name)
    taken = {
        username.lower()
        for username in User.objects.filter(username__istartswith=wanted).values_list("username", flat=True)
    }
    username, number = wanted, 1
    while username.lower() in taken:
        number += 1
        username = f"{wanted}{number}"
    return username


def _from_name(name: str) -> str:
    # Marks above and below letters are taken off; what has no plain letter beside it (ø) is left out.
    plain = unicodedata.normalize("NFKD", name.casefold()).encode("ascii", "ignore").decode()
    words = re.findall(r"[a-z0-9]+", plain)
    return ".".join([words[0], words[-1]] if len(words) > 1 else words or ["person"])[: LONGEST - 6]
