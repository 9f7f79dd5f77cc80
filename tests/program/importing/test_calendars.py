from datetime import date, datetime, timedelta

import pytest

from program.importing.calendars import KINDS, CalendarFile, CommitmentRow, read_calendar
from program.importing.recurrence import Changed, Recurrence
from program.importing.refusals import Unreadable

TODAY = date(2026, 11, 28)
NEW_YORK = "TZID=America/New_York"
ONCE = ("DTSTART:20261130T090000", "DTEND:20261130T093000")


def wall(text: str) -> datetime:
    return datetime.fromisoformat(text)


def event(*properties: str, uid: str = "a@example.org", key: str = "P1") -> str:
    head = ("BEGIN:VEVENT", f"UID:{uid}", *([f"X-RESIDENT-KEY:{key}"] if key else []))
    return "\r\n".join((*head, *properties, "END:VEVENT"))


def calendar(*events: str, properties: tuple[str, ...] = ()) -> bytes:
    return "\r\n".join(("BEGIN:VCALENDAR", "VERSION:2.0", *properties, *events, "END:VCALENDAR", "")).encode()


def read(*events: str, properties: tuple[str, ...] = (), person_key: str = "") -> CalendarFile:
    content = calendar(*events, properties=properties)
    return read_calendar(content, timezone="America/New_York", today=TODAY, person_key=person_key)


def times(*properties: str, calendar_properties: tuple[str, ...] = ()) -> Recurrence:
    file = read(event(*properties), properties=calendar_properties)
    assert file.refusals == ()
    return file.rows[0].times


def refusal(*properties: str) -> str:
    file = read(event(*properties))
    assert file.rows == ()
    return file.refusals[0].sentence.removeprefix("Event 1: ")


SERIES = (
    event(
        f"DTSTART;{NEW_YORK}:20260302T100000",
        f"DTEND;{NEW_YORK}:20260302T104500",
        "RRULE:FREQ=WEEKLY;BYDAY=MO,TH",
        f"EXDATE;{NEW_YORK}:20261126T100000",
        f"RDATE;{NEW_YORK}:20261201T100000",
        "CATEGORIES:Physical Therapy",
        "SUMMARY:Therapy with Åke\\, in the long bri",
        " ght room",
    ),
    event(f"RECURRENCE-ID;{NEW_YORK}:20261130T100000", f"DTSTART;{NEW_YORK}:20261130T140000", "DURATION:PT1H"),
    event(f"RECURRENCE-ID;{NEW_YORK}:20261203T100000", *ONCE, "STATUS:CANCELLED"),
)


def test_a_series_is_read_whole():
    moved = Changed(wall("2026-11-30T10:00"), wall("2026-11-30T14:00"), length=timedelta(hours=1))
    cancelled = Changed(wall("2026-12-03T10:00"), None, length=timedelta(minutes=30))

    assert read(*SERIES) == CalendarFile(
        rows=(
            CommitmentRow(
                line=3,
                person_key="P1",
                uid="a@example.org",
                kind="therapy",
                title="Therapy with Åke, in the long bright room",
                is_movable=False,
                is_cancelled=False,
                times=Recurrence(
                    starts=wall("2026-03-02T10:00"),
                    length=timedelta(minutes=45),
                    timezone="America/New_York",
                    rrule="FREQ=WEEKLY;BYDAY=MO,TH",
                    extra=(wall("2026-12-01T10:00"),),
                    left_out=(wall("2026-11-26T10:00"),),
                    changed=(moved, cancelled),
                ),
            ),
        ),
        refusals=(),
        notes=(),
    )


def test_the_same_file_read_twice_is_equal():
    assert read(event(*ONCE)) == read(event(*ONCE))


@pytest.mark.parametrize(
    ("properties", "starts", "zone"),
    [
        (("DTSTART:20261130T090000",), "2026-11-30T09:00", ""),
        (("DTSTART:20261130T090000Z",), "2026-11-30T09:00", "UTC"),
        (("DTSTART;TZID=Europe/Prague:20261130T090000",), "2026-11-30T09:00", "Europe/Prague"),
        (("DTSTART;TZID=Eastern Standard Time:20261130T090000",), "2026-11-30T09:00", "America/New_York"),
    ],
)
def test_a_start_keeps_the_zone_in_which_it_was_written(properties, starts, zone):
    read_times = times(*properties, "DURATION:PT30M")

    assert (read_times.starts, read_times.timezone) == (wall(starts), zone)


@pytest.mark.parametrize("written", ["DTSTART:20261130T090000", "DTSTART:20261130T080000Z"])
def test_a_calendar_that_names_its_zone_means_wall_time_there(written):
    read_times = times(written, "DURATION:PT30M", calendar_properties=("X-WR-TIMEZONE:Europe/Prague",))

    assert (read_times.starts, read_times.timezone) == (wall("2026-11-30T09:00"), "Europe/Prague")


@pytest.mark.parametrize(
    ("properties", "days", "length"),
    [
        (("DTSTART;VALUE=DATE:20261130",), 1, timedelta()),
        (("DTSTART;VALUE=DATE:20261130", "DTEND;VALUE=DATE:20261203"), 3, timedelta()),
        (("DTSTART:20261130T090000", "DURATION:P1DT2H"), 1, timedelta(hours=2)),
        (("DTSTART:20261130T090000", "DTEND:20261201T100000"), 0, timedelta(hours=25)),
        ((f"DTSTART;{NEW_YORK}:20261031T220000", f"DTEND;{NEW_YORK}:20261101T060000"), 0, timedelta(hours=9)),
    ],
)
def test_days_are_counted_on_the_calendar_and_hours_as_they_pass(properties, days, length):
    read_times = times(*properties)

    assert (read_times.days, read_times.length) == (days, length)


@pytest.mark.parametrize("kind", KINDS)
def test_each_of_our_kinds_is_known_by_its_own_name(kind):
    file = read(event(*ONCE, f"CATEGORIES:{kind.upper()}"))

    assert ([row.kind for row in file.rows], file.notes) == ([kind], ())


def test_an_unknown_kind_is_an_appointment_and_said():
    file = read(event(*ONCE, "CATEGORIES:Barber,Hair"))

    assert [row.kind for row in file.rows] == ["appointment"]
    assert [note.sentence for note in file.notes] == [
        "Event 1: its category says Barber, Hair, so it is taken as an appointment."
    ]


@pytest.mark.parametrize(
    ("written", "is_movable"),
    [("TRANSP:TRANSPARENT", True), ("X-CAN-MOVE:TRUE", True), ("TRANSP:OPAQUE", False), ("X-CAN-MOVE:FALSE", False)],
)
def test_what_can_move_says_so(written, is_movable):
    assert [row.is_movable for row in read(event(*ONCE, written)).rows] == [is_movable]


def test_a_cancelled_commitment_is_kept_as_cancelled():
    assert [row.is_cancelled for row in read(event(*ONCE, "STATUS:CANCELLED")).rows] == [True]


def test_alarms_and_zone_definitions_are_left_alone():
    zone = "BEGIN:VTIMEZONE\r\nTZID:America/New_York\r\nBEGIN:STANDARD\r\nDTSTART:x\r\nEND:STANDARD\r\nEND:VTIMEZONE"
    alarm = "BEGIN:VALARM\r\nTRIGGER:-PT5M\r\nDTSTART:nonsense\r\nEND:VALARM"

    file = read(zone, event(*ONCE, alarm, "SUMMARY:Visit"))

    assert ([row.title for row in file.rows], file.refusals) == (["Visit"], ())


def test_the_resident_is_named_by_event_calendar_or_caller():
    named = read(event(*ONCE), event(*ONCE, key="", uid="b"), properties=("X-RESIDENT-KEY:P2",))
    chosen = read(event(*ONCE, key=""), person_key="P3")

    assert [row.person_key for row in (*named.rows, *chosen.rows)] == ["P1", "P2", "P3"]


def test_a_file_of_another_resident_is_refused():
    with pytest.raises(Unreadable, match="The calendar is for “P2”, not for “P3”"):
        read(event(*ONCE, key=""), properties=("X-RESIDENT-KEY:P2",), person_key="P3")


def test_an_event_of_another_resident_is_refused():
    assert [refused.sentence for refused in read(event(*ONCE), person_key="P3").refusals] == [
        "Event 1: This is for “P1”, not for “P3”. Choose the right file."
    ]


def test_an_event_for_nobody_is_refused():
    assert [refused.sentence for refused in read(event(*ONCE, key="")).refusals] == [
        "Event 1: This does not say for whom it is. Choose the resident first, or have their key in each event."
    ]


def test_a_refused_event_leaves_the_others_and_names_its_line():
    file = read(event(*ONCE), event("DTSTART:20261130T090000", uid="b"), event(*ONCE, uid="c"))

    assert [row.uid for row in file.rows] == ["a@example.org", "c"]
    assert [(refused.line, refused.sentence) for refused in file.refusals] == [
        (9, "Event 2: It has no end. Give it DTEND or DURATION.")
    ]


def test_two_events_under_one_uid_are_refused_the_second_time():
    assert [refused.sentence for refused in read(event(*ONCE), event(*ONCE)).refusals] == [
        "Event 2: Its UID is already used by an earlier event of the same resident. Export the calendar again."
    ]


REFUSED = [
    (("SUMMARY:x",), "It has no start. Give it DTSTART."),
    (("DTSTART:20261301T090000", "DURATION:PT1H"), "DTSTART cannot be read. Correct it."),
    (
        ("DTSTART:20261130T090000", "DTEND:20261130T090000"),
        "It must end after its start, within a year. Correct its end.",
    ),
    (
        ("DTSTART:20261130T090000", "DTEND;VALUE=DATE:20261201"),
        "Its start is a day and its end a time, or the other way round.",
    ),
    ((*ONCE, "DURATION:PT1H"), "It has both an end and a duration. Remove one."),
    ((*ONCE, "UID:b"), "It has UID more than once. Export it again."),
    (
        ("DTSTART;TZID=Fen/Nowhere:20261130T090000", "DURATION:PT1H"),
        "The time zone “Fen/Nowhere” is not known. Use an IANA name",
    ),
    (("DTSTART;TZID=/x/America/New_York:20261130T090000", "DURATION:PT1H"), "Its time zone has a private name."),
    ((*ONCE, "EXDATE;TZID=Fen/Nowhere:20261130T090000"), "The time zone “Fen/Nowhere” is not known."),
    ((*ONCE, "RRULE:FREQ=HOURLY"), "A series repeats by day, week, month or year, not HOURLY. Change it."),
    ((*ONCE, "RRULE:FREQ=DAILY", "RRULE:FREQ=WEEKLY"), "It has RRULE more than once. Make several events of it."),
    ((*ONCE, "EXRULE:FREQ=DAILY"), "It uses EXRULE, which is no longer part of the standard."),
    ((*ONCE, "EXDATE;VALUE=DATE:20261130"), "EXDATE lists days where the event has times, or the other way round."),
    (
        (*ONCE, "RDATE;VALUE=PERIOD:20261201T090000/PT1H"),
        "RDATE lists spans instead of starts. Make them events of their own.",
    ),
    (("DTSTART:20151130T090000", "DURATION:PT1H"), "It starts in 2015, more than 10 years away. Begin it again nearer"),
    (
        (*ONCE, "RECURRENCE-ID:20261130T090000"),
        "This changes one time of a series that is not in the file. Export the whole",
    ),
    ((*ONCE, "SUMMARY:=1+1"), "This begins with “=”, which spreadsheets take for a formula."),
]


@pytest.mark.parametrize(("properties", "sentence"), REFUSED)
def test_an_event_that_cannot_be_used_is_refused_with_what_to_do(properties, sentence):
    assert refusal(*properties).startswith(sentence)


def test_a_series_that_began_ten_years_ago_is_taken():
    assert times("DTSTART:20161130T090000", "DURATION:PT1H", "RRULE:FREQ=DAILY").starts == wall("2016-11-30T09:00")


def test_an_event_without_a_uid_is_refused():
    content = calendar(event(*ONCE).replace("UID:a@example.org\r\n", ""))
    file = read_calendar(content, timezone="America/New_York", today=TODAY)

    assert [refused.sentence for refused in file.refusals] == [
        "Event 1: It has no UID, so it could not be found again next time. Export it again."
    ]


@pytest.mark.parametrize(
    ("recurrence", "sentence"),
    [
        (
            "RECURRENCE-ID;VALUE=DATE:20261130",
            "RECURRENCE-ID is a day where the series has times, or the other way round.",
        ),
        ("RECURRENCE-ID:20261130T090000", "The same time of this series is changed twice. Export the calendar again."),
    ],
)
def test_a_change_that_does_not_fit_its_series_is_refused(recurrence, sentence):
    series = event(*ONCE, "RRULE:FREQ=DAILY")
    file = read(series, event("RECURRENCE-ID:20261130T090000", *ONCE), event(recurrence, *ONCE))

    assert [refused.sentence.removeprefix("Event 3: ")[: len(sentence)] for refused in file.refusals] == [sentence]
