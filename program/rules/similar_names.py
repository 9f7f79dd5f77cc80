"""Whose name could be taken for whose: for asking twice before the first set."""

from collections.abc import Iterable
from difflib import SequenceMatcher

# Common practice, no source: from here on two names are read for each other at arm's length.
ALIKE = 0.75


def are_alike(one: tuple[str, str], other: tuple[str, str]) -> bool:
    """Whether two people (given name, family name) share a name or spell theirs almost the same."""
    (given, family), (other_given, other_family) = (tuple(part.casefold() for part in name) for name in (one, other))
    if given == other_given or family == other_family:
        return True
    return SequenceMatcher(None, f"{given} {family}", f"{other_given} {other_family}").ratio() >= ALIKE


def alike(name: tuple[str, str], others: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    return [other for other in others if are_alike(name, other)]
