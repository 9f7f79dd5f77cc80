"""Every door of the API, found by its address, so that a new one is tested without being named."""

from django.urls import get_resolver
from django.urls.resolvers import URLResolver

from program.web.doors import Door


def addresses(patterns=None, prefix: str = "") -> list[tuple[str, type[Door], dict[str, str]]]:
    """(address, door, HTTP method to action) of every route under /api/ that is a door."""
    found = []
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        path = f"{prefix}{pattern.pattern}"
        if isinstance(pattern, URLResolver):
            found += addresses(pattern.url_patterns, path)
        elif path.startswith("api/") and issubclass(getattr(pattern.callback, "cls", object), Door):
            found.append((path, pattern.callback.cls, pattern.callback.actions))
    return found


def doors() -> list[type[Door]]:
    return sorted({door for _, door, _ in addresses()}, key=lambda door: door.__name__)
