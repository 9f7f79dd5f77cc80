"""The week or month that a report is about, in the local time of a building."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from program.rules.errors import Invalid
from program.rules.week import Week, local_instant

WEEK, MONTH = "week", "month"
# Before this nobody kept sessions here; whoever asks may name any year.
FIRST_DAY = date(2000, 1, 1)
KINDS = (WEEK, MONTH)


@dataclass(frozen=True, slots=True, order=True)
class Period:
    """A week or a month by its first day; named like `2026-W48` or `2026-11`."""

    kind: str
    first_on: date

    @classmethod
    def named(cls, kind: str, name: str) -> "Period":
        """Invalid with a sentence when there is no such period, or none that a report could be about."""
        if kind not in KINDS:
            raise Invalid("A report is about a week or a month. Choose one of them.", field="period_kind")
        found = cls(WEEK, Week.named(name).monday) if kind == WEEK else cls._month_named(name)
        if found.first_on < FIRST_DAY:
            raise Invalid(f"Nobody kept sessions before {FIRST_DAY.year}. Choose a later {kind}.", field="period_name")
        return found

    @classmethod
    def _month_named(cls, name: str) -> "Period":
        match = re.fullmatch(r"([0-9]{4})-([0-9]{2})", name)
        try:
            if match is None:
                raise ValueError
            return cls(MONTH, date(int(match[1]), int(match[2]), 1))
        except ValueError:
            raise Invalid(f"“{name[:20]}” is not a month. Write it like 2026-11.", field="period_name") from None

    @classmethod
    def holding(cls, kind: str, day: date) -> "Period":
        """The period of that kind in which the day lies."""
        return cls(kind, Week.holding(day).monday if kind == WEEK else day.replace(day=1))

    @property
    def name(self) -> str:
        return Week(self.first_on).name if self.kind == WEEK else f"{self.first_on:%Y-%m}"

    @property
    def words(self) -> str:
        """`week 2026-W48` or `November 2026`."""
        return f"week {self.name}" if self.kind == WEEK else f"{self.first_on:%B %Y}"

    @property
    def next(self) -> "Period":
        # From any day of a month, 31 days after its first lie in the next one.
        return Period.holding(self.kind, self.first_on + timedelta(days=7 if self.kind == WEEK else 31))

    @property
    def previous(self) -> "Period":
        return Period.holding(self.kind, self.first_on - timedelta(days=1))

    @property
    def days(self) -> list[date]:
        return [self.first_on + timedelta(days=offset) for offset in range((self.next.first_on - self.first_on).days)]

    def starts_at(self, zone: ZoneInfo) -> datetime:
        return local_instant(self.first_on, 0, zone)

    def ends_at(self, zone: ZoneInfo) -> datetime:
        return local_instant(self.next.first_on, 0, zone)
