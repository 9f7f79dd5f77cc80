"""The one password of the demo: a sentence made by chance at the first seed, and kept beside the demo's rows."""

import os
import secrets
from pathlib import Path

FILE_NAME = "demo-password"
HOW_MANY = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "twelve", "twenty", "thirty")
WHAT_KIND = (
    *("quiet", "copper", "early", "velvet", "hollow", "amber", "gentle", "narrow", "silver", "patient", "crooked"),
    *("sunny", "frosty", "humble", "marble", "woollen"),
)
WHO = (
    *("kettles", "herons", "lanterns", "bicycles", "gardens", "teapots", "harbours", "pillows", "orchards", "ladders"),
    *("otters", "windows", "baskets", "bridges", "mittens", "trumpets"),
)
DO = (
    *("carry", "borrow", "admire", "follow", "remember", "polish", "gather", "whistle", "measure", "visit", "paint"),
    *("welcome", "repair", "praise", "count", "draw"),
)


def kept_password(folder: Path) -> str:
    """Read it, or make it on the first call; readable by the owner of the files alone."""
    file = folder / FILE_NAME
    if not file.exists():
        folder.mkdir(parents=True, exist_ok=True)
        scratch = file.with_suffix(".scratch")
        scratch.unlink(missing_ok=True)
        with os.fdopen(os.open(scratch, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as written:
            written.write(_sentence())
        scratch.replace(file)
    return file.read_text().strip()


def _sentence() -> str:
    words = [HOW_MANY, WHAT_KIND, WHO, DO, HOW_MANY, WHAT_KIND, WHO]
    return " ".join(secrets.choice(choices) for choices in words)
