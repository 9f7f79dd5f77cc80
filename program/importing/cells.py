"""What one cell may say: each reads a text and gives a value, or raises Unfit with a sentence."""

import re
import unicodedata
from collections.abc import Collection, Mapping
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from program.importing.refusals import Unfit

WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME: Final = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::00)?")
_MOMENT: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?(Z|[+-][0-9]{2}:[0-9]{2})?")
_NUMBER: Final = re.compile(r"[0-9]{1,6}(\.[0-9]{1,6})?")
_WHOLE: Final = re.compile(r"[0-9]{1,6}")
_RANGE: Final = re.compile(r"([0-9]{1,3})(?: ?[-\u2013] ?([0-9]{1,3}))?")
_EMAIL: Final = re.compile(r"[^@\s,;<>\"]{1,64}@[^@\s,;<>\"]{1,180}\.[^@\s,;<>\".]{2,}")
# Marks that turn the reading direction round would make a line say something else than it shows.
_DIRECTION: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")


def text(cell: str, *, longest: int = 200) -> str:
    if len(cell) > longest:
        raise Unfit(f"This is longer than {longest} characters. Shorten it.")
    if any(mark in _DIRECTION or unicodedata.category(mark) == "Cc" for mark in cell):
        raise Unfit("This holds invisible control characters. Type it again.")
    if cell.startswith("="):
        raise Unfit("This begins with “=”, which spreadsheets take for a formula. Replace it by its value.")
    return cell


def one_of(cell: str, choices: Collection[str]) -> str:
    wanted = cell.casefold()
    for choice in choices:
        if choice.casefold() == wanted:
            return choice
    raise Unfit(f"“{_short(cell)}” is not one of: {', '.join(choices)}. Choose one of them.")


def yes_or_no(cell: str) -> bool:
    return one_of(cell, ("yes", "no")) == "yes"


def weekday(cell: str) -> int:
    """ISO 8601 number: Monday is 1."""
    for number, name in enumerate(WEEKDAYS, start=1):
        if cell.casefold() in (name.casefold(), name[:3].casefold()):
            return number
    raise Unfit(f"“{_short(cell)}” is not a weekday. Write Monday, Tuesday and so on.")


def day(cell: str) -> date:
    if not _DATE.fullmatch(cell):
        raise Unfit(f"“{_short(cell)}” is not a date. Write it as year-month-day, like 2026-11-30.")
    try:
        return date.fromisoformat(cell)
    except ValueError:
        raise Unfit(f"There is no day {cell} in the calendar. Correct it.") from None


def time_of_day(cell: str) -> time:
    found = _TIME.fullmatch(cell)
    if not found or int(found[1]) > 23 or int(found[2]) > 59:
        raise Unfit(f"“{_short(cell)}” is not a time of day. Write it in 24 hours, like 08:00 or 17:30.")
    return time(int(found[1]), int(found[2]))


def moment(cell: str, timezone: ZoneInfo) -> datetime:
    """An instant in UTC. Without an offset it is the building's local time, which must exist and exist only once."""
    if not _MOMENT.fullmatch(cell):
        raise Unfit(f"“{_short(cell)}” is not a date and time. Write it like 2026-11-30T10:30.")
    try:
        written = datetime.fromisoformat(cell)
    except ValueError:
        raise Unfit(f"There is no date and time {cell}. Correct it.") from None
    if written.tzinfo is not None:
        return _in_utc(written)
    earlier, later = written.replace(tzinfo=timezone), written.replace(tzinfo=timezone, fold=1)
    if earlier.utcoffset() != later.utcoffset():
        if _in_utc(earlier).astimezone(timezone).replace(tzinfo=None) != written:
            raise Unfit(f"{cell} does not exist: the clocks were put forward over it. Correct the time.")
        raise Unfit(
            f"{cell} happened twice, when the clocks were put back. Add the offset: "
            f"{earlier.isoformat(timespec='minutes')} or {later.isoformat(timespec='minutes')}."
        )
    return _in_utc(earlier)


def _in_utc(written: datetime) -> datetime:
    try:
        return written.astimezone(UTC)
    except OverflowError:
        raise Unfit("This date is outside the calendar. Correct it.") from None


def whole(cell: str, *, least: int, most: int) -> int:
    if not _WHOLE.fullmatch(cell) or not least <= int(cell) <= most:
        raise Unfit(f"“{_short(cell)}” is not a whole number from {least} to {most}. Correct it.")
    return int(cell)


def number(cell: str, *, least: str = "0", most: str) -> Decimal:
    if not _NUMBER.fullmatch(cell) or not Decimal(least) <= Decimal(cell) <= Decimal(most):
        raise Unfit(f"“{_short(cell)}” is not a number from {least} to {most}. Write it with a point, like 62.5.")
    return Decimal(cell)


def whole_range(cell: str, *, most: int) -> tuple[int, int]:
    found = _RANGE.fullmatch(cell)
    if not found:
        raise Unfit(f"“{_short(cell)}” is not a range. Write it like 8-10, or as one number.")
    lowest, highest = int(found[1]), int(found[2] or found[1])
    if not 1 <= lowest <= highest <= most:
        raise Unfit(f"“{_short(cell)}” is not a range within 1 to {most}, smaller number first. Correct it.")
    return lowest, highest


def email(cell: str) -> str:
    if not _EMAIL.fullmatch(cell):
        raise Unfit(f"“{_short(cell)}” is not an e-mail address. Correct it.")
    return cell.lower()


def hours(value: Decimal) -> timedelta:
    return timedelta(microseconds=int(value * 3_600_000_000))


def by_column(header: tuple[str, ...], cells: tuple[str, ...]) -> Mapping[str, str]:
    """Cells under their column's name; short rows are filled up with nothing."""
    return dict(zip(header, cells + ("",) * (len(header) - len(cells)), strict=False))


def column_name(written: str) -> str:
    """Column names are compared without regard to case, spaces, underscores and hyphens."""
    return re.sub(r"[\s_-]+", "", written).casefold()


def _short(cell: str) -> str:
    shown = "".join(mark if mark.isprintable() and mark not in _DIRECTION else "?" for mark in cell)
    return shown if len(shown) <= 40 else f"{shown[:40]}…"
