from datetime import date

import pytest

from program.importing.calendars import read_calendar
from program.importing.refusals import Unreadable


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "The file is empty. Choose another file."),
        (b"x" * 1_000_001, "The calendar is larger than 1 MB. Export a shorter time or fewer people."),
        (b"hello", "The file is not an iCalendar file: it does not begin with BEGIN:VCALENDAR. Export it again."),
        (
            b"BEGIN:VCALENDAR\n" + b"X:1\n" * 60_001,
            "The calendar has too many lines. Export a shorter time or fewer people.",
        ),
        (
            b"BEGIN:VCALENDAR\nX:" + b"1" * 10_001,
            "Line 2 of the calendar is far too long. Export it again without attachments.",
        ),
        (b"BEGIN:VCALENDAR\nEND:VEVENT\n", "Line 2 ends something that was not begun. Export the calendar again."),
        (b"BEGIN:VCALENDAR\n" + b"BEGIN:X\n" * 5, "Line 6 nests more deeply than calendars do. Export it again."),
        (b"BEGIN:VCALENDAR\n", "The calendar breaks off in the middle. Export it again."),
        (
            b"BEGIN:VCALENDAR\n" + b"BEGIN:VEVENT\nEND:VEVENT\n" * 4_001 + b"END:VCALENDAR\n",
            "The calendar has more than 4,000 events. Export a shorter time or fewer people.",
        ),
        (
            b"BEGIN:VCALENDAR\nX-RESIDENT-KEY:" + b"P" * 65 + b"\nEND:VCALENDAR\n",
            "X-RESIDENT-KEY of the calendar: This is longer than 64 characters. Shorten it.",
        ),
        (
            b"BEGIN:VCALENDAR\nX-WR-TIMEZONE:Fen/Nowhere\nEND:VCALENDAR\n",
            "The time zone “Fen/Nowhere” is not known. Use an IANA name like America/New_York.",
        ),
    ],
)
def test_a_file_that_is_no_calendar_is_refused_with_what_to_do(content, sentence):
    with pytest.raises(Unreadable) as refused:
        read_calendar(content, timezone="America/New_York", today=date(2026, 11, 28))

    assert refused.value.sentence == sentence
