"""The cells of an .xlsx workbook as text, after its archive was measured and searched for traps."""

import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, Final

from openpyxl import DEFUSEDXML, load_workbook

from program.importing import limits
from program.importing.refusals import Unreadable

if not DEFUSEDXML:
    raise ImportError("Workbooks are read with defusedxml only: install it.")


@dataclass(frozen=True, slots=True)
class Row:
    """`line` counts as the person's program does, from 1."""

    line: int
    cells: tuple[str, ...]


_NOT_A_WORKBOOK: Final = "The workbook is damaged or not a workbook. Open it, save it as .xlsx and send it again."
_TRAPS: Final = (b"<!DOCTYPE", b"<!ENTITY")
# By where the part lies in the archive; the first that fits.
_MOST_TAGS: Final = {
    "xl/worksheets/": limits.SHEET_TAGS,
    "xl/sharedStrings": limits.TEXT_TAGS,
    "": limits.OTHER_TAGS,
}


def cells_by_sheet(content: bytes) -> list[tuple[str, list[Row]]]:
    """Sheet name and rows, in order. Raises Unreadable."""
    try:
        _refuse_by_archive(content)
        workbook = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
        return _sheets(workbook)
    except Unreadable:
        raise
    except Exception:  # noqa: BLE001 - a hostile workbook can make its reader raise anything at all
        raise Unreadable(_NOT_A_WORKBOOK) from None


def _refuse_by_archive(content: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        members = archive.infolist()
        if len(members) > limits.ZIP_MEMBERS or len({member.filename for member in members}) < len(members):
            raise Unreadable(_NOT_A_WORKBOOK)
        if any(member.flag_bits & 1 for member in members):
            raise Unreadable("The workbook is protected by a password. Remove it and send the file again.")
        if sum(member.file_size for member in members) > limits.UNZIPPED_BYTES:
            size = limits.UNZIPPED_BYTES // 1_000_000
            raise Unreadable(f"The workbook is larger than {size} MB once unpacked. Leave out what is not needed.")
        tags = dict.fromkeys(_MOST_TAGS, 0)
        for member in members:
            # No more than was claimed: a member that lies about its size then fails its checksum, unexpanded.
            with archive.open(member) as opened:
                part = opened.read(member.file_size)
            if any(trap in part for trap in _TRAPS):
                raise Unreadable("The workbook holds declarations that no spreadsheet program writes. Save it afresh.")
            tags[next(place for place in _MOST_TAGS if place in member.filename)] += part.count(b"<")
        if any(tags[place] > most for place, most in _MOST_TAGS.items()):
            raise Unreadable("The workbook holds too many cells, texts or styles. Copy what is needed into a new one.")


def _sheets(workbook: Any) -> list[tuple[str, list[Row]]]:
    sheets = workbook.worksheets
    if not sheets:
        raise Unreadable(_NOT_A_WORKBOOK)
    if len(sheets) > limits.SHEETS:
        raise Unreadable(f"The workbook has more than {limits.SHEETS} sheets. Leave out what is not needed.")
    return [(sheet.title.strip(), list(_rows(sheet))) for sheet in sheets]


def _rows(sheet: Any) -> Iterator[Row]:
    # The size a sheet claims for itself is not to be trusted: too small hides cells, too large pads them.
    sheet.reset_dimensions()
    cells_seen = 0
    for line, cells in enumerate(sheet.iter_rows(), start=1):
        cells_seen += len(cells)
        if line > limits.LINES or cells_seen > limits.CELLS:
            raise Unreadable(f"Sheet {sheet.title} is too large. Copy the rows that are needed into a new workbook.")
        if any(cell.value is not None for cell in cells):
            yield Row(line, tuple(_text(cell, sheet.title, line) for cell in cells))


def _text(cell: Any, sheet: str, line: int) -> str:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "f":
        raise Unreadable(
            f"Sheet {sheet}, line {line} holds a formula. Replace it by its value and send the file again."
        )
    if cell.data_type == "e":
        raise Unreadable(f"Sheet {sheet}, line {line} holds the error {value}. Correct it and send the file again.")
    return _written(value)


def _written(value: Any) -> str:
    """What a person would have typed."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(timespec="minutes")
    if isinstance(value, time):
        return value.isoformat(timespec="minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        # Fifteen digits are what a spreadsheet shows and keeps; more would bring binary dust into a load.
        return f"{Decimal(format(value, '.15g')).normalize():f}"
    return str(value)
