"""The roster week: ISO 8601, Monday to Sunday, in the local time of a building."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from program.rules.errors import Invalid

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True, order=True)
class Week:
    """A week by its Monday, named like `2026-W53`."""

    monday: date

    @classmethod
    def named(cls, name: str) -> "Week":
        """The week called `name`; Invalid when there is no such week."""
        match = re.fullmatch(r"(\d{4})-W(\d{2})", name)
        try:
            if match is None:
                raise ValueError
            return cls(date.fromisocalendar(int(match[1]), int(match[2]), 1))
        except ValueError:
            raise Invalid(f"“{name[:20]}” is not a week. Write it like 2026-W53.", field="week") from None

    @classmethod
    def of(cls, moment: datetime, zone: ZoneInfo) -> "Week":
        return cls.holding(moment.astimezone(zone).date())

    @classmethod
    def holding(cls, day: date) -> "Week":
        return cls(day - timedelta(days=day.weekday()))

    @property
    def name(self) -> str:
        year, number, _ = self.monday.isocalendar()
        return f"{year}-W{number:02d}"

    @property
    def days(self) -> list[date]:
        return [self.monday + timedelta(days=offset) for offset in range(7)]

    @property
    def next(self) -> "Week":
        return Week(self.monday + timedelta(days=7))

    @property
    def previous(self) -> "Week":
        return Week(self.monday - timedelta(days=7))

    def starts_at(self, zone: ZoneInfo) -> datetime:
        return local_instant(self.monday, 0, zone)

    def ends_at(self, zone: ZoneInfo) -> datetime:
        return local_instant(self.next.monday, 0, zone)


def local_instant(day: date, minute: int, zone: ZoneInfo) -> datetime:
    """The instant (UTC) of `minute` minutes after local midnight by the wall clock.

    A time that does not exist is read with the offset before the gap, one that exists twice is its first occurrence
    (RFC 5545, 3.3.5).
    """
    day, minute = day + timedelta(days=minute // 1440), minute % 1440
    return datetime.combine(day, time(minute // 60, minute % 60), zone).astimezone(UTC)


def clock_time(moment: datetime, zone: ZoneInfo) -> str:
    """`10:30`."""
    return f"{moment.astimezone(zone):%H:%M}"


def day_and_time(moment: datetime, zone: ZoneInfo) -> str:
    """`Wed 10:30`."""
    local = moment.astimezone(zone)
    return f"{WEEKDAYS[local.weekday()]} {local:%H:%M}"


def date_and_time(moment: datetime, zone: ZoneInfo) -> str:
    """`Wed 2 Dec 10:30`."""
    local = moment.astimezone(zone)
    return f"{WEEKDAYS[local.weekday()]} {local.day} {local:%b %H:%M}"
