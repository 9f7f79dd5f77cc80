"""A comma-separated file or a workbook, read as plain text cells under tight limits."""

import csv
import io
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from program.importing.limits import CELL_CHARACTERS, COLUMNS, FILE_BYTES, ROWS
from program.importing.refusals import Unreadable
from program.importing.workbooks import Row, cells_by_sheet

# First bytes of files that are often sent under a wrong name.
_OTHER_KINDS: Final = (
    (b"PK\x03\x04", "a workbook or zip archive"),
    (b"\xd0\xcf\x11\xe0", "an old .xls workbook"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a compressed file"),
    (b"{\\rtf", "a text document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
)
_WIDE_TEXT: Final = (b"\xff\xfe", b"\xfe\xff")
_UTF8_MARK: Final = b"\xef\xbb\xbf"
# What a careful export puts before a text that a spreadsheet would take for a formula.
_GUARDED: Final = ("'=", "'+", "'-", "'@", "'\t", "'\r")


@dataclass(frozen=True, slots=True)
class Table:
    """Header and rows as text; `sheet` is empty for a comma-separated file; empty rows are left out."""

    sheet: str
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    header_line: int = 1


def read_table(content: bytes, filename: str) -> Table:
    """The only table of a CSV file, or the first sheet of a workbook. Raises Unreadable."""
    _refuse_by_size(content)
    ending = _ending(filename)
    if ending == "csv":
        return _table("", _csv_rows(content))
    if ending == "xlsx":
        return read_sheets(content, filename)[0]
    raise Unreadable(f"Only .csv and .xlsx files can be read, not “.{ending}”. Save the table as one of the two.")


def read_sheets(content: bytes, filename: str) -> tuple[Table, ...]:
    """Every sheet of a workbook, in its order. Raises Unreadable."""
    _refuse_by_size(content)
    if _ending(filename) != "xlsx":
        raise Unreadable("This must be an .xlsx workbook. Save it as one and send it again.")
    if not content.startswith(b"PK\x03\x04"):
        raise Unreadable("The file is called .xlsx but is not a workbook. Save it as .xlsx and send it again.")
    sheets = cells_by_sheet(content)
    return tuple(_table(sheet, iter(rows)) for sheet, rows in sheets)


def _refuse_by_size(content: bytes) -> None:
    if not content:
        raise Unreadable("The file is empty. Choose another file.")
    if len(content) > FILE_BYTES:
        raise Unreadable(f"The file is larger than {FILE_BYTES // 1_000_000} MB. Split it and send the parts.")


def _ending(filename: str) -> str:
    return filename.rpartition(".")[2].lower() if "." in filename else ""


def text_of(content: bytes) -> str:
    """UTF-8 text with or without its mark. Raises Unreadable for anything else."""
    for first_bytes, kind in _OTHER_KINDS:
        if content.startswith(first_bytes):
            raise Unreadable(f"The file looks like {kind}, not like its name says. Save it in the right form.")
    if content.startswith(_WIDE_TEXT):
        raise Unreadable("The file is saved as UTF-16. Save it as UTF-8 and send it again.")
    try:
        text = content.removeprefix(_UTF8_MARK).decode("utf-8")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise Unreadable(f"Line {line} is not UTF-8 text. Save the file as UTF-8 and send it again.") from None
    if "\0" in text:
        raise Unreadable("The file holds NUL characters, so it is not text. Save it again as UTF-8 text.")
    return text


def _csv_rows(content: bytes) -> Iterator[Row]:
    text = text_of(content)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    line = 1
    try:
        for cells in reader:
            if cells:
                yield Row(line, tuple(cells))
            line = reader.line_num + 1
    except csv.Error:
        raise Unreadable(
            f"Line {line} has a quotation mark that is not closed, or a cell that is far too long. Correct it."
        ) from None


def _delimiter(text: str) -> str:
    header = text.lstrip("\r\n").partition("\n")[0]
    return max(",;\t", key=header.count)


def _table(sheet: str, rows: Iterator[Row]) -> Table:
    header: tuple[str, ...] = ()
    header_line = 1
    kept: list[Row] = []
    for row in rows:
        cells = tuple(_tidy(cell, row.line, sheet) for cell in _without_trailing_blanks(row.cells))
        if len(cells) > COLUMNS:
            raise Unreadable(
                f"{_place(sheet, row.line)} has more than {COLUMNS} columns. Leave out what is not needed."
            )
        if not cells:
            continue
        if not header:
            header, header_line = cells, row.line
            continue
        if len(kept) == ROWS:
            raise Unreadable(f"There are more than {ROWS:,} rows. Split the file and send the parts.")
        kept.append(Row(row.line, cells))
    if not header:
        raise Unreadable(f"{'Sheet ' + sheet if sheet else 'The file'} is empty. The first line must name the columns.")
    return Table(sheet, header, tuple(kept), header_line)


def _without_trailing_blanks(cells: tuple[str, ...]) -> tuple[str, ...]:
    end = len(cells)
    while end and not cells[end - 1].strip():
        end -= 1
    return cells[:end]


def _tidy(cell: str, line: int, sheet: str) -> str:
    if len(cell) > CELL_CHARACTERS:
        raise Unreadable(f"{_place(sheet, line)} has a cell of more than {CELL_CHARACTERS:,} characters. Shorten it.")
    if cell.startswith(_GUARDED):
        cell = cell[1:]
    return unicodedata.normalize("NFC", cell.strip())


def _place(sheet: str, line: int) -> str:
    return f"Sheet {sheet}, line {line}" if sheet else f"Line {line}"
