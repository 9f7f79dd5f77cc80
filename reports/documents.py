"""Reports as files: a table of figures with one row a building, safe to open in a spreadsheet."""

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

from program.models.resident import Help

# Every page and every file says it: the two are counted by different rules.
NOT_THERAPY: Final = "Strength sessions here are not therapy minutes."
CAUTION: Final = "This service supports and never replaces the judgement of licensed staff. Local rules come first."
# A cell that begins so may be run as a formula by whoever opens the file.
STARTS_A_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Line:
    """What the table says of one building: moments by its own clock, figures None where there are none."""

    region: str
    building: str
    period: str
    starts_at: datetime | None
    ends_at: datetime | None
    as_of: datetime | None
    state: str
    figures: Mapping[str, Any] | None


Reading = Callable[[Line], Any]


def adherence_csv(lines: Iterable[Line]) -> bytes:
    """UTF-8, a header row, then one row a building; shares are fractions with four decimals, beside their counts."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(title for title, _ in COLUMNS)
    for line in lines:
        writer.writerow(in_a_cell(read(line)) for _, read in COLUMNS)
    return text.getvalue().encode()


def in_a_cell(value: Any) -> str:
    """Numbers as they are, text that no spreadsheet takes for a formula, and nothing for what is not known."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    if isinstance(value, int | float | Decimal):
        return str(value)
    return f"'{value}" if value.startswith(STARTS_A_FORMULA) else str(value)


def _of(name: str) -> Reading:
    return lambda line: getattr(line, name)


def _figure(*path: str) -> Reading:
    """The figure at the end of the path as it is kept."""

    def read(line: Line) -> Any:
        found: Any = line.figures
        for key in path:
            found = None if found is None else found.get(key)
        return found

    return read


def _share(*path: str) -> Reading:
    read = _figure(*path)

    def read_share(line: Line) -> Decimal | None:
        found = read(line)
        return None if found is None else Decimal(f"{found:.4f}")

    return read_share


def _reached(help_sixths: int, key: str) -> Reading:
    def read(line: Line) -> int | None:
        if line.figures is None:
            return None
        return sum(int(one[key]) for one in line.figures["reached"] if one["help_sixths"] == help_sixths)

    return read


def _note(line: Line) -> str:
    return f"{NOT_THERAPY} {CAUTION}"


COLUMNS: Final[tuple[tuple[str, Reading], ...]] = (
    ("region", _of("region")),
    ("building", _of("building")),
    ("period", _of("period")),
    ("period from", _of("starts_at")),
    ("period until", _of("ends_at")),
    ("as of", _of("as_of")),
    ("report", _of("state")),
    ("sessions done", _figure("attendance", "done")),
    ("sessions published", _figure("attendance", "published")),
    ("sessions not recorded", _figure("attendance", "not_recorded")),
    ("done of published", _share("attendance", "share")),
    ("done of published, 95 % from", _share("attendance", "low")),
    ("done of published, 95 % until", _share("attendance", "high")),
    ("done of published is a range", _figure("attendance", "is_range")),
    ("done of published, least", _share("attendance", "least")),
    ("done of published, most", _share("attendance", "most")),
    ("all sessions done, unplanned too", _figure("completion", "done")),
    ("sessions prescribed", _figure("completion", "prescribed")),
    ("done of prescribed", _share("completion", "ratio")),
    ("training volume", _share("volume", "share")),
    ("training volume, residents", _figure("volume", "residents")),
    ("training volume left out by equipment", _share("volume", "equipment")),
    ("missed: resident", _figure("missed", "resident")),
    ("missed: clinical", _figure("missed", "clinical")),
    ("missed: our side", _figure("missed", "our side")),
    ("withdrawn before the day", _figure("withdrawn", "before_the_day")),
    (
        "withdrawn through hold, absence, leaving or closure",
        _figure("withdrawn", "through_hold_absence_leaving_closure"),
    ),
    ("notice of withdrawals in hours, median", _figure("withdrawn", "notice_hours_median")),
    ("unplanned sessions done", _figure("unplanned")),
    ("too soon", _figure("too_soon")),
    ("late starts", _figure("late_starts")),
    ("stopped early", _figure("stopped_early")),
    ("late entries", _figure("late_entries")),
    *(
        (f"{words}: {title}", _reached(sixths, key))
        for sixths, words in Help.choices
        for title, key in (("residents", "residents"), ("residents with a session", "with_session"))
    ),
    ("recording", _figure("recording", "state")),
    ("recording since", _figure("recording", "since")),
    ("last recorded on", _figure("recording", "last_recorded_on")),
    ("last done on", _figure("recording", "last_done_on")),
    ("outbreak closure", _figure("outbreak")),
    ("residents in the programme", _figure("residents", "in_the_programme")),
    ("resident days in the programme", _figure("residents", "days")),
    ("note", _note),
)
