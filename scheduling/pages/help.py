"""How full a day is: help needed of the help that is there, hour by hour."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from program.models import Building, ShiftTime
from program.rules.opening import Period, on_day
from program.rules.week import clock_time
from scheduling.pages.visits import SIXTHS_A_PERSON, Visit

HOUR = timedelta(hours=1)
FULL = 0.9

# From, until, sixths of one person.
Stretch = tuple[datetime, datetime, int]


@dataclass(frozen=True, slots=True)
class HourOfHelp:
    """Minutes of one person: `needed` at the stations and on the way, `there` on the circuit."""

    starts: str
    ends: str
    needed: int
    there: int
    is_short: bool

    @property
    def words(self) -> str:
        if not self.there:
            return "nobody on the circuit, but help is needed" if self.needed else "nobody on the circuit"
        spoken = f"{self.needed} of {self.there} minutes"
        if self.is_short:
            return f"{spoken}: more is needed than is there"
        return f"{spoken}: full" if self.is_full else spoken

    @property
    def drawn(self) -> int:
        """How long the bar is, of `there`."""
        return min(self.needed, self.there)

    @property
    def is_full(self) -> bool:
        return bool(self.there) and self.needed >= FULL * self.there


def hours_of_help(
    building: Building, day: date, openings: Sequence[Period], visits: Iterable[Visit], shifts: Iterable[ShiftTime]
) -> list[HourOfHelp]:
    """One entry for each clock hour in which the circuit is open on that day."""
    needed = [stretch for visit in visits for stretch in stretches_of(visit)]
    there = [(shift.starts_at, shift.ends_at, SIXTHS_A_PERSON) for shift in shifts]
    found = []
    for opening in on_day(openings, day, building.zone):
        start = opening.start
        while start < opening.end:
            whole = start.astimezone(building.zone).replace(minute=0) + HOUR
            end = min(whole, opening.end)
            is_short = any(
                _at(needed, moment) > _at(there, moment) for moment in _moments([*needed, *there], start, end)
            )
            said = clock_time(start, building.zone), clock_time(end, building.zone)
            found.append(HourOfHelp(*said, _sum(needed, start, end), _sum(there, start, end), is_short))
            start = end
    return found


def stretches_of(visit: Visit) -> list[Stretch]:
    stretches = [(visit.starts_at, visit.ends_at, visit.help_sixths)]
    if visit.escort_sixths:
        stretches.append((visit.fetched_at, visit.starts_at, visit.escort_sixths))
        stretches.append((visit.ends_at, visit.returned_at, visit.escort_sixths))
    return stretches


def _moments(stretches: Iterable[Stretch], start: datetime, end: datetime) -> set[datetime]:
    return {start} | {edge for stretch in stretches for edge in stretch[:2] if start <= edge < end}


def _at(stretches: Iterable[Stretch], moment: datetime) -> int:
    return sum(sixths for start, end, sixths in stretches if start <= moment < end)


def _sum(stretches: Iterable[Stretch], start: datetime, end: datetime) -> int:
    """Minutes of one person inside the span."""
    sixths = sum(
        (min(end, until) - max(start, since)) // timedelta(minutes=1) * share
        for since, until, share in stretches
        if since < end and start < until
    )
    return round(sixths / SIXTHS_A_PERSON)
