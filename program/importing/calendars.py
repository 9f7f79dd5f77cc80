"""Commitments from an iCalendar file: every event is judged, each refusal names its line."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from program.importing import cells
from program.importing.calendar_events import Event, event_zone, read_event
from program.importing.calendar_text import read_calendar_text
from program.importing.recurrence import Changed, Recurrence, check_start
from program.importing.refusals import Note, RowRefusal, Unfit, Unreadable

KINDS: Final = (
    *("therapy", "strength work in therapy", "dialysis", "nursing", "bathing", "activity"),
    *("visit", "outing", "appointment", "rest", "refused time"),
)
UNKNOWN_KIND: Final = "appointment"
_OTHER_WORDS: Final = {
    "physical therapy": "therapy",
    "occupational therapy": "therapy",
    "speech therapy": "therapy",
    "strength work": "strength work in therapy",
    "wound care": "nursing",
    "bath": "bathing",
    "shower": "bathing",
    "activities": "activity",
    "visitors": "visit",
    "family visit": "visit",
    "trip": "outing",
    "doctor": "appointment",
    "nap": "rest",
}


@dataclass(frozen=True, slots=True)
class CommitmentRow:
    """One commitment, once or recurring. A cancelled one says that what was known under its uid is no longer true."""

    line: int
    person_key: str
    uid: str
    kind: str
    title: str
    is_movable: bool
    is_cancelled: bool
    times: Recurrence


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """Every event of the file is in a row, or changes one, or has a refusal."""

    rows: tuple[CommitmentRow, ...]
    refusals: tuple[RowRefusal, ...]
    notes: tuple[Note, ...]


@dataclass(slots=True)
class _Reading:
    timezone: ZoneInfo
    calendar_zone: ZoneInfo | None
    calendar_key: str
    today: date
    rows: dict[tuple[str, str], CommitmentRow]
    changes: list[tuple[Event, str]]
    refusals: list[RowRefusal]
    notes: list[Note]

    def refuse(self, number: int, line: int, unfit: Unfit) -> None:
        self.refusals.append(RowRefusal(line, "", f"Event {number}: {unfit.sentence}"))


def read_calendar(content: bytes, *, timezone: str, today: date, person_key: str = "") -> CalendarFile:
    """Read a file for the resident `person_key`, or for those whom X-RESIDENT-KEY names in it. Raises Unreadable.

    `timezone` is the building's: times without a zone are meant there, unless the file names another zone.
    """
    calendar = read_calendar_text(content)
    named_key = _calendar_key(calendar.properties)
    if named_key and person_key and named_key != person_key:
        raise Unreadable(f"The calendar is for “{named_key}”, not for “{person_key}”. Choose the right file.")
    reading = _Reading(
        ZoneInfo(timezone), _calendar_zone(calendar.properties), person_key or named_key, today, {}, [], [], []
    )
    for text in calendar.events:
        try:
            event = read_event(text, default_zone=reading.calendar_zone, building_zone=reading.timezone)
            _take(reading, event, person_key)
        except Unfit as unfit:
            reading.refuse(text.number, text.line, unfit)
    for event, key in reading.changes:
        try:
            _change(reading, event, key)
        except Unfit as unfit:
            reading.refuse(event.number, event.line, unfit)
    refusals = sorted(reading.refusals, key=lambda refusal: refusal.line)
    return CalendarFile(tuple(reading.rows.values()), tuple(refusals), tuple(reading.notes))


def _calendar_key(properties: Mapping[str, str]) -> str:
    try:
        return cells.text(properties.get("X-RESIDENT-KEY", ""), longest=64)
    except Unfit as unfit:
        raise Unreadable(f"X-RESIDENT-KEY of the calendar: {unfit.sentence}") from None


def _calendar_zone(properties: Mapping[str, str]) -> ZoneInfo | None:
    name = properties.get("X-WR-TIMEZONE", "")
    if not name:
        return None
    try:
        return event_zone(name)
    except Unfit as unfit:
        raise Unreadable(unfit.sentence) from None


def _take(reading: _Reading, event: Event, person_key: str) -> None:
    if event.resident_key and person_key and event.resident_key != person_key:
        raise Unfit(f"This is for “{event.resident_key[:64]}”, not for “{person_key}”. Choose the right file.")
    key = event.resident_key or reading.calendar_key
    if not key:
        raise Unfit("This does not say for whom it is. Choose the resident first, or have their key in each event.")
    if event.recurrence is not None:
        reading.changes.append((event, key))
        return
    if (key, event.uid) in reading.rows:
        raise Unfit("Its UID is already used by an earlier event of the same resident. Export the calendar again.")
    check_start(event.times.starts.date(), today=reading.today)
    kind = _kind(event.categories)
    if kind is None:
        written = ", ".join(event.categories)[:80] or "nothing"
        reading.notes.append(
            Note(event.line, f"Event {event.number}: its category says {written}, so it is taken as an {UNKNOWN_KIND}.")
        )
    reading.rows[key, event.uid] = CommitmentRow(
        line=event.line,
        person_key=key,
        uid=event.uid,
        kind=kind or UNKNOWN_KIND,
        title=event.title,
        is_movable=event.is_movable,
        is_cancelled=event.is_cancelled,
        times=event.times,
    )


def _kind(categories: tuple[str, ...]) -> str | None:
    for category in categories:
        word = " ".join(category.casefold().split())
        if word in KINDS:
            return word
        if word in _OTHER_WORDS:
            return _OTHER_WORDS[word]
    return None


def _change(reading: _Reading, event: Event, key: str) -> None:
    row = reading.rows.get((key, event.uid))
    if row is None or not (row.times.rrule or row.times.extra):
        raise Unfit("This changes one time of a series that is not in the file. Export the whole series.")
    series = row.times
    zone = ZoneInfo(series.timezone) if series.timezone else reading.timezone
    recurrence, starts = event.walls_in(zone, reading.timezone)
    if event.is_recurrence_day != series.is_all_day:
        raise Unfit("RECURRENCE-ID is a day where the series has times, or the other way round. Export it again.")
    if any(change.recurrence == recurrence for change in series.changed):
        raise Unfit("The same time of this series is changed twice. Export the calendar again.")
    if len(series.changed) >= 1_000:
        raise Unfit("More than 1,000 times of this series are changed. End it and begin another.")
    check_start(starts.date(), today=reading.today)
    moved = Changed(recurrence, None if event.is_cancelled else starts, event.times.days, event.times.length)
    changed = (*series.changed, moved)
    reading.rows[key, event.uid] = replace(row, times=replace(series, changed=changed))
