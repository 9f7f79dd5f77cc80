"""When a commitment really happens: a gate for recurrence rules, and the times behind it.

RFC 5545, 3.3.5 and 3.8.5: wall time is kept across clock changes; a time that does not exist is read with the offset
before the gap; of a time that happens twice the first is meant. 3.3.10 also says that such instances are to be left
out; a session booked into somebody's therapy is worse than an hour kept free, so they are kept.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import chain, islice, takewhile
from typing import Final
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr

from program.importing import limits
from program.importing.refusals import Unfit

_INTEGERS: Final = re.compile(r"[+-]?[0-9]{1,3}(,[+-]?[0-9]{1,3})*")
_WEEKDAYS: Final = re.compile(r"(MO|TU|WE|TH|FR|SA|SU)(,(MO|TU|WE|TH|FR|SA|SU))*")
_NUMBERED_WEEKDAYS: Final = re.compile(
    r"([+-]?[0-9]{1,2})?(MO|TU|WE|TH|FR|SA|SU)(,([+-]?[0-9]{1,2})?(MO|TU|WE|TH|FR|SA|SU))*"
)
_UNTIL: Final = re.compile(r"[0-9]{8}(T[0-9]{6}Z?)?")
_INTEGER_LISTS: Final = (
    *("BYSECOND", "BYMINUTE", "BYHOUR", "BYSETPOS"),
    *("BYMONTHDAY", "BYYEARDAY", "BYWEEKNO", "BYMONTH"),
)
_SHORT_LISTS: Final = ("BYSECOND", "BYMINUTE", "BYHOUR", "BYSETPOS")
_STEPS: Final = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
_MOST_ON_ONE_DAY: Final = 10


@dataclass(frozen=True, slots=True)
class Changed:
    """One time of a series that was moved (`starts` is the new wall time) or cancelled (`starts` is None)."""

    recurrence: datetime
    starts: datetime | None
    days: int = 0
    length: timedelta = timedelta()


@dataclass(frozen=True, slots=True)
class Recurrence:
    """When a commitment happens, in wall time of `timezone`; empty means the building's own.

    It lasts `days` calendar days and then `length` of elapsed time. `rrule` is empty for what happens once.
    """

    starts: datetime
    days: int = 0
    length: timedelta = timedelta()
    is_all_day: bool = False
    timezone: str = ""
    rrule: str = ""
    extra: tuple[datetime, ...] = ()
    left_out: tuple[datetime, ...] = ()
    changed: tuple[Changed, ...] = ()


def check_rule(rrule: str) -> dict[str, str]:
    """The parts of a recurrence rule that is safe to expand. Raises Unfit for every other."""
    parts = _parts(rrule)
    if parts.get("FREQ") not in _STEPS:
        raise Unfit(
            f"A series repeats by day, week, month or year, not {parts.get('FREQ', 'without FREQ')}. Change it."
        )
    _refuse_outside(parts, "INTERVAL", most=366)
    _refuse_outside(parts, "COUNT", most=1_000)
    if "COUNT" in parts and "UNTIL" in parts:
        raise Unfit("A series ends by COUNT or by UNTIL, not by both. Remove one.")
    if "UNTIL" in parts and (not _UNTIL.fullmatch(parts["UNTIL"]) or _until(parts["UNTIL"], ZoneInfo("UTC")) is None):
        raise Unfit("UNTIL is not a date or date and time. Correct it.")
    if "WKST" in parts and not re.fullmatch("MO|TU|WE|TH|FR|SA|SU", parts["WKST"]):
        raise Unfit("WKST is not a weekday. Correct it.")
    _refuse_lists(parts)
    try:
        _library_rule(parts, datetime.fromisoformat("2000-01-01"))
    except (ValueError, TypeError, KeyError, IndexError, OverflowError):
        raise Unfit("The recurrence rule has a part that cannot be read. Make the series again.") from None
    return parts


def check_start(starts_on: date, *, today: date) -> None:
    """Raises Unfit for a start so far from today that it can only be a mistake or a trap."""
    years = limits.YEARS_AROUND_TODAY
    if not today.year - years <= starts_on.year <= today.year + years:
        raise Unfit(f"It starts in {starts_on.year}, more than {years} years away. Begin it again nearer to today.")


def _parts(rrule: str) -> dict[str, str]:
    if len(rrule) > limits.RULE_CHARACTERS:
        raise Unfit("The recurrence rule is too long. Make a simpler series.")
    parts: dict[str, str] = {}
    for part in rrule.upper().split(";"):
        name, _, value = part.partition("=")
        if not value:
            raise Unfit("The recurrence rule has a part without a value. Make the series again.")
        if name in parts:
            raise Unfit(f"The recurrence rule names {name[:20]} twice. Make the series again.")
        parts[name] = value
    known = {"FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYDAY", *_INTEGER_LISTS}
    for name in parts:
        if name not in known:
            raise Unfit(f"The recurrence rule has an unknown part “{name[:20]}”. Make the series again.")
    return parts


def _refuse_outside(parts: dict[str, str], name: str, *, most: int) -> None:
    value = parts.get(name, "1")
    if not re.fullmatch("[0-9]{1,10}", value) or not 1 <= int(value) <= most:
        raise Unfit(f"{name} must be a whole number from 1 to {most:,}. Make the series again.")


def _refuse_lists(parts: dict[str, str]) -> None:
    by_weekday = _NUMBERED_WEEKDAYS if parts["FREQ"] in ("MONTHLY", "YEARLY") else _WEEKDAYS
    if "BYDAY" in parts and not by_weekday.fullmatch(parts["BYDAY"]):
        raise Unfit(f"BYDAY cannot be read in a {parts['FREQ'].lower()} series. Make the series again.")
    on_one_day = 1
    for name in _INTEGER_LISTS:
        if name not in parts:
            continue
        if not _INTEGERS.fullmatch(parts[name]):
            raise Unfit(f"{name} is not a list of whole numbers. Make the series again.")
        length = parts[name].count(",") + 1
        if name in _SHORT_LISTS and length > 10:
            raise Unfit(f"{name} has more than 10 numbers. Make a simpler series.")
        if name in ("BYSECOND", "BYMINUTE", "BYHOUR"):
            on_one_day *= length
    if on_one_day > _MOST_ON_ONE_DAY:
        raise Unfit(f"The series happens more than {_MOST_ON_ONE_DAY} times a day. Make several simpler ones.")


def occurrences(
    commitment: Recurrence,
    *,
    timezone: str,
    window_from: datetime,
    window_until: datetime,
    cap: int = 5_000,
) -> list[tuple[datetime, datetime]]:
    """Start and end, in UTC, of every time that touches the half-open window (aware, at most 400 days).

    `timezone` is the building's. Raises Unfit for a rule that the gate refuses or for more than `cap` times, ValueError
    for a window that is too long.
    """
    if window_until - window_from > timedelta(days=limits.WINDOW_DAYS):
        raise ValueError(f"The window must not be longer than {limits.WINDOW_DAYS} days.")
    zone = ZoneInfo(commitment.timezone or timezone)
    longest = timedelta(days=commitment.days) + commitment.length
    # A day on either side, since wall time and elapsed time differ by clock changes.
    wall_from = window_from.astimezone(zone).replace(tzinfo=None) - longest - timedelta(days=1)
    wall_until = window_until.astimezone(zone).replace(tzinfo=None) + timedelta(days=1)
    walls = set(islice(_series(commitment, zone, wall_from, wall_until), cap + 1))
    if len(walls) > cap:
        raise Unfit(f"This happens more than {cap:,} times. Make a simpler series.")
    walls -= {change.recurrence for change in commitment.changed} | set(commitment.left_out)
    spans = {_span(wall, commitment.days, commitment.length, zone) for wall in walls}
    # A moved time whose original is not in the series is kept: better an hour too many kept free than one too few.
    spans |= {
        _span(change.starts, change.days, change.length, zone)
        for change in commitment.changed
        if change.starts is not None
    }
    return sorted(span for span in spans if span[0] < window_until and window_from < span[1])


def _span(wall: datetime, days: int, length: timedelta, zone: ZoneInfo) -> tuple[datetime, datetime]:
    # fold=0, which datetimes have by themselves, is exactly RFC 5545, 3.3.5, for missing and for repeated times.
    starts_at = wall.replace(tzinfo=zone).astimezone(UTC)
    # Days are nominal and are added to the wall time, hours are exact and are added after them.
    ends_at = (wall + timedelta(days=days)).replace(tzinfo=zone).astimezone(UTC) if days else starts_at
    return starts_at, ends_at + length


def _series(commitment: Recurrence, zone: ZoneInfo, wall_from: datetime, wall_until: datetime) -> Iterator[datetime]:
    walls: Iterator[datetime] = iter((commitment.starts,))
    if commitment.rrule:
        walls = _rule_walls(commitment, zone, wall_from, wall_until)
    extra = (wall for wall in commitment.extra if wall <= wall_until)
    return (wall for wall in chain(walls, extra) if wall_from <= wall)


def _rule_walls(
    commitment: Recurrence, zone: ZoneInfo, wall_from: datetime, wall_until: datetime
) -> Iterator[datetime]:
    parts = check_rule(commitment.rrule)
    starts = commitment.starts
    if "COUNT" not in parts:
        starts = _nearer(starts, parts, wall_from)
    if wall_until < starts:
        return iter(())
    shift = _to_the_end_of_the_calendar(starts, wall_until)
    walls: Iterator[datetime] = (wall - shift for wall in _library_rule(parts, starts + shift))
    first = next(walls, None)
    # The first time of a series is the one it starts with, also where its rule would not say so.
    walls = chain(
        (starts,) if starts == commitment.starts and first != starts else (), () if first is None else (first,), walls
    )
    if "COUNT" in parts:
        walls = islice(walls, int(parts["COUNT"]))
    last = min(wall_until, _until(parts["UNTIL"], zone) or wall_until) if "UNTIL" in parts else wall_until
    return takewhile(lambda wall: wall <= last, walls)


def _library_rule(parts: dict[str, str], starts: datetime) -> Iterator[datetime]:
    kept = ";".join(f"{name}={value}" for name, value in parts.items() if name not in ("COUNT", "UNTIL"))
    return iter(rrulestr(kept, dtstart=starts))


def _nearer(starts: datetime, parts: dict[str, str], wall_from: datetime) -> datetime:
    """A later start of the same endless series, in step with it, so that years gone by need not be walked."""
    step_days = {"DAILY": 1, "WEEKLY": 7}.get(parts["FREQ"])
    if step_days is None or wall_from <= starts:
        return starts
    step = timedelta(days=step_days * int(parts.get("INTERVAL", "1")))
    return starts + (wall_from - starts) // step * step


def _to_the_end_of_the_calendar(starts: datetime, until: datetime) -> timedelta:
    """How far on the same weekdays, leap years and dates lie that are nearest to the year 9999.

    A rule that never comes true (30 February) is followed to the year 9999 by the library, which takes seconds. From
    1901 to 2099 and from 9901 to 9999 years repeat every 28, so the answer there is the same and the end is near.
    """
    if starts.year < 1901 or until.year > 2099 or until.year - starts.year > 60:
        raise Unfit("The series is too far from today. Begin it again nearer to today.")
    new_year = date(until.year, 1, 1)
    twin = next(
        year
        for year in range(9998, 9970, -1)
        if year % 4 == until.year % 4 and date(year, 1, 1).weekday() == new_year.weekday()
    )
    return date(twin, 1, 1) - new_year


def _until(written: str, zone: ZoneInfo) -> datetime | None:
    """Last wall time of a series; a bare date means its whole day. None where there is no such date."""
    try:
        last = datetime.fromisoformat(written)
        if len(written) == 8:
            return datetime.combine(last, time(23, 59, 59))
        return last.astimezone(zone).replace(tzinfo=None) if last.tzinfo else last
    except (ValueError, OverflowError):
        return None
