"""Files made to hurt whoever reads them. Built in memory, so that none lies about as a file."""

import io
import zipfile
import zlib
from collections.abc import Iterator

import xlsxwriter

RESIDENT_HEADER = "person_key,given_name,family_name,date_of_birth,unit,help"
RESIDENT = "H-1,Ansgar,Quillmoor,1938-04-17,Heron wing,one helps three"
SPREADSHEET = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
SHEET_HEAD = f"<worksheet {SPREADSHEET}><sheetData>"
SST = f"<sst {SPREADSHEET}>".encode()
STYLES = f"<styleSheet {SPREADSHEET}>".encode()
SHEET_TAIL = "</sheetData></worksheet>"


def hostile_files() -> dict[str, tuple[str, bytes]]:
    """What it tries → (file name, content)."""
    return dict((*_rules(), *_calendars(), *_texts(), *_tables(), *_archives(), *_sheets()))


def event(*properties: str) -> bytes:
    head = ["BEGIN:VCALENDAR", "BEGIN:VEVENT", "UID:h@example.org", "X-RESIDENT-KEY:H-1", "CATEGORIES:visit"]
    return "".join(f"{line}\r\n" for line in (*head, *properties, "END:VEVENT", "END:VCALENDAR")).encode()


def series(rrule: str, starts: str = "20261130T090000", *more: str) -> bytes:
    return event(f"DTSTART:{starts}", "DURATION:PT30M", f"RRULE:{rrule}", *more)


def _rules() -> Iterator[tuple[str, tuple[str, bytes]]]:
    numbers = ",".join(map(str, range(60)))
    rules = {
        "every second without end": "FREQ=SECONDLY",
        "every minute without end": "FREQ=MINUTELY",
        "every hour without end": "FREQ=HOURLY",
        "a thousand million times": "FREQ=DAILY;COUNT=1000000000",
        "a thousand million seconds": "FREQ=SECONDLY;COUNT=1000000000",
        "a count of a thousand digits": "FREQ=DAILY;COUNT=" + "9" * 400,
        "a count below nothing": "FREQ=DAILY;COUNT=-1",
        "an interval of nothing": "FREQ=DAILY;INTERVAL=0",
        "an interval below nothing": "FREQ=DAILY;INTERVAL=-1",
        "an enormous interval": "FREQ=DAILY;INTERVAL=99999999",
        "every second by lists": f"FREQ=DAILY;BYMINUTE={numbers};BYSECOND={numbers}",
        "short lists that multiply": "FREQ=DAILY;BYHOUR=1,2,3,4,5;BYMINUTE=1,2,3,4,5;BYSECOND=1,2,3",
        "positions without end": "FREQ=MONTHLY;BYDAY=MO;BYSETPOS=" + ",".join(map(str, range(1, 30))),
        "a rule of many thousand characters": "FREQ=YEARLY;BYYEARDAY=" + ",".join(map(str, range(1, 366))),
        "the 30th of February each second": "FREQ=SECONDLY;BYMONTH=2;BYMONTHDAY=30",
        "the hundredth Monday": "FREQ=MONTHLY;BYDAY=100MO",
        "a numbered weekday of a week": "FREQ=WEEKLY;BYDAY=2MO",
        "an hour that no day has": "FREQ=DAILY;BYHOUR=99",
        "an unknown weekday": "FREQ=WEEKLY;BYDAY=XX",
        "an unknown part": "FREQ=WEEKLY;BYEASTER=0",
        "no frequency": "COUNT=2",
        "a frequency twice": "FREQ=DAILY;FREQ=SECONDLY",
        "until and count": "FREQ=DAILY;COUNT=2;UNTIL=20270101T000000Z",
        "until the 30th of February": "FREQ=DAILY;UNTIL=20270230T000000Z",
        "a formula as a rule": '=HYPERLINK("http://x.example")',
    }
    for name, rule in rules.items():
        yield name, (f"{name}.ics", series(rule))
    yield "every minute since 1970", ("a.ics", series("FREQ=MINUTELY", "19700101T000000"))
    yield "daily since 1970", ("a.ics", series("FREQ=DAILY", "19700101T000000"))
    yield "daily since the year 1", ("a.ics", series("FREQ=DAILY", "00010101T000000"))
    yield "once in the year 9999", ("a.ics", event("DTSTART:99991231T235959Z", "DURATION:PT1H"))
    yield "exceptions cancel all", ("a.ics", series("FREQ=DAILY", "20261130T090000", "EXRULE:FREQ=DAILY"))
    yield "two rules", ("a.ics", series("FREQ=DAILY", "20261130T090000", "RRULE:FREQ=SECONDLY"))
    # Harmless behind the gate, and kept: never comes true, though it makes the library walk to the year 9999.
    yield "KEPT the 30th of February", ("a.ics", series("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30"))
    yield "KEPT a Tuesday that is always Monday", ("a.ics", series("FREQ=DAILY;INTERVAL=7;BYDAY=TU"))


def _calendars() -> Iterator[tuple[str, tuple[str, bytes]]]:
    start = ("DTSTART:20261130T090000", "DURATION:PT30M")
    dates = ",".join(["20261201T090000"] * 600)
    files = {
        "too many extra times": event(*start, f"RDATE:{dates}"),
        "very many left-out times": event(*start, *[f"EXDATE:{dates}"] * 90),
        "an end before the start": event("DTSTART:20261130T090000", "DTEND:20261130T080000"),
        "a duration of a century": event("DTSTART:20261130T090000", "DURATION:P36500D"),
        "a duration beyond counting": event("DTSTART:20261130T090000", "DURATION:P99999999999999D"),
        "the 30th of February once": event("DTSTART:20270230T090000", "DURATION:PT1H"),
        "two names": event(*start, "UID:second@example.org"),
        "events within events": b"BEGIN:VCALENDAR\r\n" + b"BEGIN:VEVENT\r\n" * 50_000,
        "an end that nothing began": b"BEGIN:VCALENDAR\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
        "it breaks off": event(*start)[:-15],
        "a line of 900,000 characters": event(*start, "SUMMARY:" + "x" * 900_000),
        "a line folded 200,000 times": event(*start, "SUMMARY:x" + "\r\n y" * 180_000),
        "parameters without end": event(*start, *[f"EXDATE{';A=1' * 2_000}:x"] * 110),
        "more than a megabyte": event(*start, *["COMMENT:" + "y" * 900] * 1_200),
        "a time zone that changes each second": _changing_zone(),
        "a page instead of a calendar": b"<html><script>alert(1)</script></html>",
        "KEPT as many events as are allowed": _most_events(),
    }
    zones = {
        "an unknown time zone": "Nowhere/Fen",
        "a time zone that is a path": "../../etc/passwd",
        "a time zone that is a root path": "/etc/passwd",
        "a time zone of 9,000 letters": "A" * 9_000,
    }
    for name, zone in zones.items():
        files[name] = event(f"DTSTART;TZID={zone}:20261130T090000", "DURATION:PT1H")
    yield from ((name, ("a.ics", content)) for name, content in files.items())


def _changing_zone() -> bytes:
    zone = ("BEGIN:VTIMEZONE", "TZID:Fen", "BEGIN:STANDARD", "DTSTART:16010101T000000", "RRULE:FREQ=SECONDLY")
    rest = ("TZOFFSETFROM:+0100", "TZOFFSETTO:+0000", "END:STANDARD", "END:VTIMEZONE", "BEGIN:VEVENT")
    sound = event("DTSTART;TZID=Fen:20261130T090000", "DURATION:PT1H").decode()
    return sound.replace("BEGIN:VEVENT", "\r\n".join((*zone, *rest))).encode()


def _most_events() -> bytes:
    times = "DTSTART;TZID=America/New_York:20261130T090000\r\nDURATION:PT30M\r\nRRULE:FREQ=WEEKLY;BYDAY=MO,WE,FR"
    events = (
        f"BEGIN:VEVENT\r\nUID:{number}\r\nX-RESIDENT-KEY:H{number}\r\nCATEGORIES:visit\r\n{times}\r\nEND:VEVENT\r\n"
        for number in range(4_000)
    )
    return f"BEGIN:VCALENDAR\r\n{''.join(events)}END:VCALENDAR\r\n".encode()


def _texts() -> Iterator[tuple[str, tuple[str, bytes]]]:
    table = f"{RESIDENT_HEADER}\n{RESIDENT}\n"
    yield "NUL characters in a calendar", ("a.ics", event("SUMMARY:a\0b"))
    yield "half a character in a calendar", ("a.ics", event("SUMMARY:x")[:-4] + b"\xc3\xff")
    yield "UTF-16", ("a.csv", table.encode("utf-16"))
    yield "Latin-1", ("a.csv", table.replace("Ansgar", "Åsgar").encode("latin-1"))
    yield "NUL characters", ("a.csv", table.replace("Ansgar", "Ans\0gar").encode())
    yield "overlong encoding", ("a.csv", table.encode() + b"\xc0\xaf")
    yield "surrogates", ("a.csv", table.encode() + b"\xed\xa0\x80")
    yield "nothing at all", ("a.csv", b"")
    yield "only line ends", ("a.csv", b"\n" * 1_900_000)
    yield "only commas", ("a.csv", b"," * 1_900_000)


def _tables() -> Iterator[tuple[str, tuple[str, bytes]]]:
    table = f"{RESIDENT_HEADER}\n{RESIDENT}\n"
    yield "a million columns", ("a.csv", b"a," * 950_000)
    yield "a million rows", ("a.csv", f"{RESIDENT_HEADER}\n".encode() + b"a\n" * 950_000)
    yield "a cell of two megabytes", ("a.csv", table.encode() + b"x" * 1_900_000)
    yield "a quotation without end", ("a.csv", table.encode() + b'"' + b"\n" * 1_900_000)
    yield "a hundred thousand quotation marks", ("a.csv", table.encode() + b'"' * 99_999)
    yield "more than two megabytes", ("a.csv", b"x" * 2_000_001)
    yield "a formula", ("a.csv", table.replace("Ansgar", '=cmd|" /C calc"!A0').replace('"', '""').encode())
    yield "turned reading direction", ("a.csv", table.replace("Ansgar", "Ans\u202egar").encode())
    yield "the 30th of February as a birthday", ("a.csv", table.replace("1938-04-17", "1938-02-30").encode())
    yield "the year 9999 as a birthday", ("a.csv", table.replace("1938-04-17", "9999-12-31").encode())
    yield "a name of ten thousand letters", ("a.csv", table.replace("Ansgar", "A" * 10_000).encode())
    yield "an unknown ending", ("a.exe", b"MZ" + b"\0" * 100)
    yield "a picture called a table", ("a.csv", b"\x89PNG\r\n\x1a\n" + b"\0" * 100)
    yield "a table called a workbook", ("a.xlsx", table.encode())
    yield "a workbook called a table", ("a.csv", workbook())
    yield "an old workbook", ("a.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600)


def workbook() -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        sheet = book.add_worksheet("Residents")
        for number, row in enumerate((RESIDENT_HEADER, RESIDENT)):
            for position, cell in enumerate(row.split(",")):
                sheet.write_string(number, position, cell)
    return content.getvalue()


def changed(**parts: bytes) -> bytes:
    """The sound workbook with other parts: `sheet`, `texts`, `styles`, `book`, or a new one by its own name."""
    places = {
        "sheet": "xl/worksheets/sheet1.xml",
        "texts": "xl/sharedStrings.xml",
        "styles": "xl/styles.xml",
        "book": "xl/workbook.xml",
    }
    wanted = {places.get(name, name): part for name, part in parts.items()}
    content = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook())) as sound, zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as book:
        for name in sound.namelist():
            book.writestr(name, wanted.pop(name, sound.read(name)))
        for name, part in wanted.items():
            book.writestr(name, part)
    return content.getvalue()


def _archives() -> Iterator[tuple[str, tuple[str, bytes]]]:
    yield "a zip bomb", ("a.xlsx", changed(bomb=b"\0" * 60_000_000))
    yield "a zip bomb that lies about its size", ("a.xlsx", _lying(changed(bomb=b"\0" * 50_000_000), claimed=1_000))
    yield "ten thousand members", ("a.xlsx", changed(**{f"m{number}": b"" for number in range(10_000)}))
    yield "half an archive", ("a.xlsx", workbook()[: len(workbook()) // 2])
    yield "an archive of noise", ("a.xlsx", b"PK\x03\x04" + zlib.compress(b"noise" * 1000))
    yield "an archive that is no workbook", ("a.xlsx", _archive({"readme.txt": b"hello"}))
    yield (
        "a way out of the folder",
        ("a.xlsx", _archive({"../../../outside": b"x", "[Content_Types].xml": b"<Types/>"})),
    )


def _archive(members: dict[str, bytes]) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for name, part in members.items():
            archive.writestr(name, part)
    return content.getvalue()


def _lying(content: bytes, *, claimed: int) -> bytes:
    return content.replace((50_000_000).to_bytes(4, "little"), claimed.to_bytes(4, "little"))


def sheet(rows: str) -> bytes:
    return (SHEET_HEAD + rows + SHEET_TAIL).encode()


def _sheets() -> Iterator[tuple[str, tuple[str, bytes]]]:
    masses = _masses_in_parts()
    for name, (place, part) in {**_traps_in_parts(), **masses}.items():
        yield name, ("a.xlsx", changed(**{place: part}))
    most = [name for name in masses if "as are allowed" in name or "without a header" in name]
    yield "as much as is allowed of everything", ("a.xlsx", changed(**dict(masses[name] for name in most)))


def _traps_in_parts() -> dict[str, tuple[str, bytes]]:
    laughs = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    entity = '<!DOCTYPE x [<!ENTITY l0 "ha">' + laughs + "]>"
    outside = '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]>'
    return {
        "a billion laughs": ("sheet", entity.encode() + one_cell('t="inlineStr"', "<is><t>&l9;</t></is>")),
        "an entity from outside": ("sheet", outside.encode() + one_cell('t="inlineStr"', "<is><t>&f;</t></is>")),
        "an entity from outside in UTF-16": ("sheet", (outside + SHEET_HEAD + SHEET_TAIL).encode("utf-16")),
        "an entity from outside in the texts": ("texts", outside.encode() + SST + b"<si><t>&f;</t></si></sst>"),
        "a formula in a cell": ("sheet", one_cell("", "<f>1+1</f><v>2</v>")),
        "an error in a cell": ("sheet", one_cell('t="e"', "<v>#REF!</v>")),
        "a text that is not there": ("sheet", one_cell('t="s"', "<v>999</v>")),
        "a day beyond the calendar": ("sheet", one_cell('t="d"', "<v>99999-99-99</v>")),
        "a number beyond counting": ("sheet", one_cell("", "<v>1e999</v>")),
        "a number of 400,000 digits": ("sheet", one_cell("", f"<v>{'9' * 400_000}</v>")),
        "a row beyond all rows": ("sheet", sheet('<row r="999999999"><c r="A999999999"><v>1</v></c></row>')),
    }


def _masses_in_parts() -> dict[str, tuple[str, bytes]]:
    far = "".join(f'<row r="{n}"><c r="XFD{n}"><v>1</v></c></row>' for n in range(1, 5000))
    many = "".join(f'<row r="{n}">{"<c><v>1</v></c>" * 100}</row>' for n in range(1, 5000))
    texts = "<c t='inlineStr'><is><t>x</t></is></c>" * 10
    inline = "".join(f'<row r="{n}">{texts}</row>' for n in range(1, 4900))
    fonts = STYLES + b"<fonts>" + b"<font/>" * 1_000_000 + b"</fonts></styleSheet>"
    nested = STYLES + b"<dxfs>" * 20_000 + b"</dxfs>" * 20_000 + b"</styleSheet>"
    return {
        "five thousand rows of the last column": ("sheet", sheet(far)),
        "half a million cells": ("sheet", sheet(many)),
        "fifty thousand texts without a header": ("sheet", sheet(inline)),
        "a million shared texts": ("texts", SST + b"<si><t/></si>" * 1_000_000 + b"</sst>"),
        "as many shared texts as are allowed": ("texts", SST + b"<si><t>x</t></si>" * 59_000 + b"</sst>"),
        "a million styles": ("styles", fonts),
        "KEPT as many styles as are allowed": ("styles", fonts.replace(b"<font/>" * 981_000, b"")),
        "deeply nested styles": ("styles", nested),
        "deep nesting": ("sheet", sheet("<row>" * 200_000)),
        "one cell of fourteen megabytes": ("sheet", one_cell('t="inlineStr"', f"<is><t>{'x' * 14_000_000}</t></is>")),
    }


def one_cell(attributes: str, inside: str) -> bytes:
    return sheet(f'<row r="1"><c r="A1" {attributes}>{inside}</c></row>')
