"""Files to start from: every column in its place, with a sentence on each and one invented example."""

import csv
import io
from collections.abc import Iterable, Sequence

import xlsxwriter

from program.importing.building_columns import SETTINGS, SHEETS
from program.importing.resident_columns import COLUMNS, LINE_COLUMNS, Column

# As many exercises as the empty table shows; up to twelve may be added.
SHOWN_LINES = 5


def blank_residents_csv() -> bytes:
    """A residents' table with one invented resident, UTF-8 with the mark that spreadsheets look for."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(name for name, _, _ in _resident_columns())
    writer.writerow(example for _, _, example in _resident_columns())
    return text.getvalue().encode("utf-8-sig")


def blank_residents_workbook() -> bytes:
    """The same as an .xlsx workbook, with a second sheet that says what each column holds."""
    columns = list(_resident_columns())
    residents = [[name for name, _, _ in columns], [example for _, _, example in columns]]
    explained = [["column", "what it holds"], *([name, sentence] for name, sentence, _ in columns)]
    return _workbook({"Residents": residents, "What to write": explained})


def blank_workbook() -> bytes:
    """A building's workbook: on each sheet one invented line, and a remark on every column."""
    sheets: dict[str, list[list[str]]] = {}
    remarks: dict[str, Sequence[Column]] = {}
    for name, columns in SHEETS.items():
        rows = [[column.example for column in columns]]
        if name == "Building":
            rows = [[setting.name, setting.example] for setting in SETTINGS]
        sheets[name] = [[column.name for column in columns], *rows]
        remarks[name] = columns
    return _workbook(sheets, remarks)


def _resident_columns() -> Iterable[tuple[str, str, str]]:
    for column in COLUMNS:
        yield column.name, column.sentence, column.example
    for number in range(1, SHOWN_LINES + 1):
        for column in LINE_COLUMNS:
            yield f"{column.name} {number}", column.sentence, column.example if number == 1 else ""


def _workbook(sheets: dict[str, list[list[str]]], remarks: dict[str, Sequence[Column]] | None = None) -> bytes:
    content = io.BytesIO()
    # Whatever begins with “=” stays a text, and addresses do not become links.
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(content, options) as workbook:
        bold = workbook.add_format({"bold": True})
        for name, rows in sheets.items():
            sheet = workbook.add_worksheet(name)
            for number, row in enumerate(rows):
                for position, cell in enumerate(row):
                    sheet.write_string(number, position, cell, bold if number == 0 else None)
            for position, column in enumerate((remarks or {}).get(name, ())):
                sheet.write_comment(0, position, column.sentence)
            sheet.freeze_panes(1, 0)
            sheet.autofit()
    return content.getvalue()
