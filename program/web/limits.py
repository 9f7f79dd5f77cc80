"""How often something may be tried: ten places, each free again five minutes after it was taken."""

from hashlib import sha256

from django.core.cache import cache

PLACES, SECONDS = 10, 5 * 60


def places_of(what: str) -> list[str]:
    digest = sha256(what.encode()).hexdigest()
    return [f"tries-{digest}-{number}" for number in range(PLACES)]


def take_place(what: str) -> str | None:
    """The place that this try has taken, or None where all are taken.

    A place is taken by writing a key that is not there, which the cache decides for all processes in one step; so in
    any five minutes no more than ten tries are made, however many come at once.
    """
    return next((place for place in places_of(what) if cache.add(place, True, SECONDS)), None)


def give_back(place: str) -> None:
    """The try was right, so it does not count."""
    cache.delete(place)
