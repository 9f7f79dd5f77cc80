"""Facts of an invented building, to add up without a database: week 2026-W48, by the clock of New York."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from program.rules.lines import Happened
from program.rules.reasons import CLASS_OF
from reports.figures import Facts, Plan, PlannedLine, Reason, Stay, Visit
from reports.periods import Period

ZONE = ZoneInfo("America/New_York")
W48 = Period.named("week", "2026-W48")
LONG_AGO = datetime(2026, 1, 1, tzinfo=UTC)
numbers = count(1)


def wall(told: str) -> datetime:
    """`2026-11-24T10:00` by the clock of the building, in UTC."""
    return datetime.fromisoformat(told).replace(tzinfo=ZONE).astimezone(UTC)


def visit(start: str, *, resident: int = 1, happened: Happened | None = None, **more: Any) -> Visit:
    """A published session; its day closes at 17:00."""
    starts_at = wall(start)
    return Visit(
        key=next(numbers),
        resident=resident,
        starts_at=starts_at,
        ends_at=starts_at + timedelta(minutes=30),
        day_closes_at=wall(f"{start[:10]}T17:00"),
        happened=happened or Happened(),
        **({"is_published": True} | more),
    )


def done(start: str, *, sets: int = 5, late_minutes: int = 0, **more: Any) -> Visit:
    began = wall(start) + timedelta(minutes=late_minutes)
    ended = began + timedelta(minutes=30)
    return visit(start, happened=Happened(began, sets, ended, ended), **more)


def missed(start: str, reason: str, **more: Any) -> Visit:
    """Given up at its start, with a reason."""
    at = wall(start)
    return visit(start, happened=Happened(given_up_at=at), reasons=(_reason("given up", at, reason),), **more)


def asleep(start: str, **more: Any) -> Visit:
    at = wall(start)
    return visit(start, happened=Happened(attempted_at=at), reasons=(_reason("attempt", at, "asleep"),), **more)


def withdrawn(start: str, at: str, reason: str, **more: Any) -> Visit:
    moment = wall(at)
    return visit(start, happened=Happened(withdrawn_at=moment), reasons=(_reason("withdrawn", moment, reason),), **more)


def _reason(kind: str, at: datetime, reason: str) -> Reason:
    return Reason(kind, at, reason, CLASS_OF[reason])


def stay(key: int = 1, **more: Any) -> Stay:
    """In the programme since long ago, two sessions a week."""
    told = {
        "help_sixths": 2,
        "since": LONG_AGO,
        "until": None,
        "enrolled_at": LONG_AGO,
        "agreement_withdrawn_at": None,
        "plans": (Plan(1, LONG_AGO, 2),),
    }
    return Stay(key=key, **(told | more))


def lines(*kilograms: int) -> tuple[PlannedLine, ...]:
    """Stations 1, 2, …, with the kilograms planned at each."""
    return tuple(PlannedLine(station, Decimal(weight)) for station, weight in enumerate(kilograms, start=1))


def facts(*visits: Visit, stays: tuple[Stay, ...] | None = None, as_of: str = "", **more: Any) -> Facts:
    """As of the end of the week unless said otherwise, with a stay for everybody who has a visit."""
    there = {one.resident for one in visits}
    told = {
        "period": W48,
        "zone": ZONE,
        "as_of": wall(as_of or "2026-11-30T00:00"),
        "grace": timedelta(minutes=30),
        "visits": visits,
        "stays": tuple(stay(key) for key in sorted(there)) if stays is None else stays,
        "closures": (),
        "has_begun_before": True,
    }
    return Facts(**(told | more))
