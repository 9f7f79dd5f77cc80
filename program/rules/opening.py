"""When the circuit is open: weekly periods by the wall clock, meals and the rest after them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from program.rules.week import local_instant


@dataclass(frozen=True, slots=True)
class Period:
    """A weekly period in minutes after local midnight; `unit` names whose meal it is, None for the whole building."""

    weekday: int
    starts_minute: int
    ends_minute: int
    name: str = ""
    unit: int | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A period on one date: half-open, in UTC."""

    start: datetime
    end: datetime
    name: str = ""
    unit: int | None = None


def on_day(periods: Iterable[Period], day: date, zone: ZoneInfo) -> list[Stretch]:
    """The periods of that date, in order."""
    stretches = [
        Stretch(
            local_instant(day, period.starts_minute, zone),
            local_instant(day, period.ends_minute, zone),
            period.name,
            period.unit,
        )
        for period in periods
        if period.weekday == day.weekday()
    ]
    return sorted(stretches, key=lambda stretch: stretch.start)


def day_closes_at(openings: Sequence[Period], moment: datetime, zone: ZoneInfo) -> datetime:
    """The end of the last opening period of the local date of `moment`; local midnight where it has none."""
    day = moment.astimezone(zone).date()
    ends = [stretch.end for stretch in on_day(openings, day, zone)]
    midnight = local_instant(day + timedelta(days=1), 0, zone)
    return max([end for end in ends if end > moment], default=midnight)
