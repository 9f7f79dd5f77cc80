"""The events of an iCalendar file as text, one by one, before any of them is parsed."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from program.importing import limits
from program.importing.refusals import Unreadable
from program.importing.tables import text_of

_NAME: Final = re.compile(r"[A-Za-z0-9-]+")
# Everything else an event says (who is invited, alarms, descriptions) costs time and is not ours to keep.
_USED: Final = frozenset(
    (
        *("UID", "DTSTART", "DTEND", "DURATION", "RRULE", "EXRULE", "RDATE", "EXDATE", "RECURRENCE-ID"),
        *("SUMMARY", "CATEGORIES", "STATUS", "TRANSP", "X-RESIDENT-KEY", "X-CAN-MOVE"),
    )
)
_MARKER: Final = re.compile(r"(BEGIN|END):([A-Za-z-]+)\s*", re.IGNORECASE)
_IN_CALENDAR: Final = ["VCALENDAR"]
_IN_EVENT: Final = ["VCALENDAR", "VEVENT"]


@dataclass(frozen=True, slots=True)
class EventText:
    """`number` counts the events of the file from 1, `line` is where this one begins."""

    number: int
    line: int
    text: str


@dataclass(frozen=True, slots=True)
class CalendarText:
    """`properties` are those of the calendar itself. Time zone definitions, alarms and the like are left out."""

    properties: Mapping[str, str]
    events: tuple[EventText, ...]


def read_calendar_text(content: bytes) -> CalendarText:
    """Raises Unreadable for what is not one iCalendar file within the limits."""
    if not content:
        raise Unreadable("The file is empty. Choose another file.")
    if len(content) > limits.CALENDAR_BYTES:
        raise Unreadable("The calendar is larger than 1 MB. Export a shorter time or fewer people.")
    lines = _unfolded(text_of(content))
    if not lines or lines[0][1].strip().upper() != "BEGIN:VCALENDAR":
        raise Unreadable("The file is not an iCalendar file: it does not begin with BEGIN:VCALENDAR. Export it again.")
    return _sorted_out(lines)


def _unfolded(text: str) -> list[tuple[int, str]]:
    """Lines with their numbers; a line that begins with a blank goes on the one before (RFC 5545, 3.1)."""
    unfolded: list[tuple[int, list[str]]] = []
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), start=1):
        if unfolded and line[:1] in (" ", "\t"):
            unfolded[-1][1].append(line[1:])
        elif line.strip():
            unfolded.append((number, [line]))
    if len(unfolded) > limits.EVENT_LINES:
        raise Unreadable("The calendar has too many lines. Export a shorter time or fewer people.")
    whole = [(number, "".join(pieces)) for number, pieces in unfolded]
    for number, line in whole:
        if len(line) > limits.EVENT_LINE_CHARACTERS:
            raise Unreadable(f"Line {number} of the calendar is far too long. Export it again without attachments.")
    return whole


def _sorted_out(lines: list[tuple[int, str]]) -> CalendarText:
    properties: dict[str, str] = {}
    events: list[EventText] = []
    nesting: list[str] = []
    begun, kept = 0, list[str]()
    for number, line in lines:
        marker = _MARKER.fullmatch(line)
        if marker:
            was_event, is_end = nesting == _IN_EVENT, marker[1].upper() == "END"
            _nest(nesting, marker, number)
            if nesting == _IN_EVENT and not is_end:
                begun, kept = number, []
            elif was_event and nesting == _IN_CALENDAR:
                events.append(_event(len(events) + 1, begun, kept))
        elif nesting == _IN_EVENT:
            if _name(line) in _USED:
                kept.append(line)
        elif nesting == _IN_CALENDAR:
            _keep_property(properties, line)
    _refuse_rest(nesting, events)
    return CalendarText(properties, tuple(events))


def _refuse_rest(nesting: list[str], events: list[EventText]) -> None:
    if nesting:
        raise Unreadable("The calendar breaks off in the middle. Export it again.")
    if len(events) > limits.EVENTS:
        raise Unreadable(f"The calendar has more than {limits.EVENTS:,} events. Export a shorter time or fewer people.")


def _nest(nesting: list[str], marker: re.Match[str], number: int) -> None:
    component = marker[2].upper()
    if marker[1].upper() == "BEGIN":
        nesting.append(component)
    elif not nesting or nesting.pop() != component:
        raise Unreadable(f"Line {number} ends something that was not begun. Export the calendar again.")
    if len(nesting) > limits.CALENDAR_NESTING:
        raise Unreadable(f"Line {number} nests more deeply than calendars do. Export it again.")


def _event(number: int, line: int, kept: list[str]) -> EventText:
    return EventText(number, line, "\r\n".join(("BEGIN:VEVENT", *kept, "END:VEVENT", "")))


def _keep_property(properties: dict[str, str], line: str) -> None:
    properties[_name(line)] = line.partition(":")[2].strip()


def _name(line: str) -> str:
    found = _NAME.match(line)
    return found[0].upper() if found else ""
