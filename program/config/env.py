"""What the environment says, read loudly: what is missing or wrong stops the start with one sentence."""

import os
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

from django.core.exceptions import ImproperlyConfigured

YES, NO = {"1", "true", "yes", "on"}, {"0", "false", "no", "off", ""}


def text(name: str, default: str | None = None) -> str:
    value = os.environ.get(name, default)
    if value is None:
        raise ImproperlyConfigured(f"Set {name}: see “Settings” in DEVELOPERS.md.")
    return value


def flag(name: str, default: bool) -> bool:
    value = os.environ.get(name, "yes" if default else "no").strip().lower()
    if value not in YES | NO:
        raise ImproperlyConfigured(f"{name} is “{value}”: say yes or no.")
    return value in YES


def number(name: str, default: int) -> int:
    value = os.environ.get(name, str(default))
    if not value.isdigit():
        raise ImproperlyConfigured(f"{name} is “{value}”: say a whole number.")
    return int(value)


def words(name: str, default: str = "") -> list[str]:
    return [word.strip() for word in os.environ.get(name, default).split(",") if word.strip()]


def database(name: str) -> dict[str, Any]:
    """A PostgreSQL address as Django wants it; `?host=` may name the folder of a socket."""
    url = urlsplit(text(name))
    if url.scheme not in {"postgresql", "postgres"}:
        raise ImproperlyConfigured(f"{name} must begin with postgresql://")
    extra = {key: values[-1] for key, values in parse_qs(url.query).items()}
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": unquote(url.path.lstrip("/")),
        "USER": unquote(url.username or ""),
        "PASSWORD": unquote(url.password or ""),
        "HOST": extra.pop("host", url.hostname or ""),
        "PORT": extra.pop("port", str(url.port or "")),
        "OPTIONS": extra,
    }
