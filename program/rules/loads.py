"""Which loads a station can have: a slip of the finger is asked about before it is saved."""

from decimal import Decimal


def wrong_load(load: Decimal, *, lightest: Decimal, heaviest: Decimal | None, step: Decimal, unit: str) -> str:
    """What is wrong with a load at a station of these steps, in a sentence to act on; empty for one that it has."""
    if load < lightest:
        return f"This station begins at {_said(lightest)} {unit}. Correct the load."
    if heaviest is not None and load > heaviest:
        return f"This station ends at {_said(heaviest)} {unit}. Correct the load."
    beyond = (load - lightest) % step
    if not beyond:
        return ""
    below = load - beyond
    return f"This station goes in steps of {_said(step)} {unit}: {_said(below)} or {_said(below + step)}."


def _said(load: Decimal) -> str:
    return f"{load.normalize():f}"
