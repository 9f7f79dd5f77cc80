"""The one clock. Tests and the demo set it; nothing else in the service asks the machine what time it is."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

# One for the whole process, so that the threads of a test server see the same moment as the test that set it.
_moment: datetime | None = None


def now() -> datetime:
    """The present instant, aware, in UTC."""
    return _moment if _moment is not None else datetime.now(UTC)


@contextmanager
def at(moment: datetime) -> Iterator[None]:
    """Hold the clock at `moment` (aware) for the length of the block."""
    if moment.tzinfo is None:
        raise ValueError("The clock takes an instant with its offset.")
    before = _moment
    set_to(moment.astimezone(UTC))
    try:
        yield
    finally:
        set_to(before)


def set_to(moment: datetime | None) -> None:
    """Hold the clock at `moment`, or let it run again with None."""
    global _moment
    _moment = moment
