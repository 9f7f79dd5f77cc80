import io
from datetime import date, datetime, time

import pytest
import xlsxwriter

from program.importing.refusals import Unreadable
from program.importing.tables import Table, read_sheets, read_table
from program.importing.workbooks import Row

TABLE = Table("", ("name", "room"), (Row(2, ("Åsa", "12")), Row(4, ("Benno", "7; 8"))))


def workbook(rows: list[list[object]], *, name: str = "Sheet1") -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        moments = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            for position, cell in enumerate(row):
                if isinstance(cell, date | time):
                    sheet.write_datetime(number, position, cell, moments)
                else:
                    sheet.write(number, position, cell)
    return content.getvalue()


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("between", [",", ";", "\t"])
def test_a_table_reads_the_same_however_it_was_saved(mark, ends, between):
    lines = [f"name{between}room", f"Åsa{between}12", "", f'Benno{between}"7; 8"']
    content = mark + ends.join(lines).encode()

    assert read_table(content, "Residents.CSV") == TABLE


def test_a_workbook_reads_like_the_same_table_saved_as_text():
    content = workbook([["name", "room"], ["Åsa", 12], [], ["Benno", "7; 8"]])

    assert read_table(content, "residents.xlsx") == Table("Sheet1", TABLE.header, TABLE.rows)


def test_the_same_file_read_twice_is_equal():
    content = workbook([["name", "load"], ["Åsa", 62.5]])

    assert read_table(content, "a.xlsx") == read_table(content, "a.xlsx")


def test_cells_of_a_workbook_read_as_a_person_would_have_typed_them():
    moment = datetime.fromisoformat("2026-11-26T10:30")
    day = datetime.fromisoformat("1938-04-17")
    table = read_table(workbook([["a"] * 7, [day, moment, time(8, 0), 62.5, 45, 0.1 + 0.2, True]]), "a.xlsx")

    assert table.rows[0].cells == ("1938-04-17", "2026-11-26T10:30", "08:00", "62.5", "45", "0.3", "yes")


def test_empty_columns_on_the_right_are_no_columns():
    assert read_table(b"name,room,,\nA,12,, \nB,,,\n,,,\n", "a.csv") == Table(
        "", ("name", "room"), (Row(2, ("A", "12")), Row(3, ("B",)))
    )


def test_a_line_inside_quotation_marks_is_counted_as_the_person_sees_it():
    table = read_table(b'name,notes\nA,"one\ntwo"\nB,x\n', "a.csv")

    assert [row.line for row in table.rows] == [2, 4]


def test_a_mark_that_a_careful_export_put_before_a_text_is_taken_away():
    assert read_table(b"name,note\nA,'-5 degrees\nB,'tis well\n", "a.csv").rows == (
        Row(2, ("A", "-5 degrees")),
        Row(3, ("B", "'tis well")),
    )


def test_letters_that_look_the_same_are_the_same():
    composed, decomposed = "Åsa", "A\u030asa"

    assert read_table(f"name\n{decomposed}\n".encode(), "a.csv").rows == (Row(2, (composed,)),)


@pytest.mark.parametrize(
    ("filename", "content", "sentence"),
    [
        ("a.csv", b"", "The file is empty. Choose another file."),
        ("a.csv", b"x" * 2_000_001, "The file is larger than 2 MB. Split it and send the parts."),
        (
            "a.ods",
            b"PK",
            "Only .csv and .xlsx files can be read, not “.ods”. Save the table as one of the two.",
        ),
        ("a.csv", b"PK\x03\x04", "The file looks like a workbook or zip archive, not like its name says. "),
        ("a.csv", "a\nü".encode("latin-1"), "Line 2 is not UTF-8 text. Save the file as UTF-8 and send it again."),
        ("a.csv", "a".encode("utf-16"), "The file is saved as UTF-16. Save it as UTF-8 and send it again."),
        ("a.csv", b"a\0b", "The file holds NUL characters, so it is not text. Save it again as UTF-8 text."),
        ("a.csv", b'a\n"b', "Line 2 has a quotation mark that is not closed, or a cell that is far too long."),
        ("a.csv", b"\n\n", "The file is empty. The first line must name the columns."),
        ("a.csv", b"a\n" + b"b\n" * 5001, "There are more than 5,000 rows. Split the file and send the parts."),
        ("a.csv", b"a," * 200 + b"a", "Line 1 has more than 200 columns. Leave out what is not needed."),
        ("a.csv", b"a\n" + b"b" * 2001, "Line 2 has a cell of more than 2,000 characters. Shorten it."),
        ("a.xlsx", b"a,b", "The file is called .xlsx but is not a workbook. Save it as .xlsx and send it again."),
        ("a.xlsx", b"PK\x03\x04", "The workbook is damaged or not a workbook. Open it, save it as .xlsx and send it"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_what_to_do(filename, content, sentence):
    with pytest.raises(Unreadable) as refused:
        read_table(content, filename)

    assert refused.value.sentence.startswith(sentence)


def test_a_formula_in_a_workbook_is_refused_with_its_place():
    with pytest.raises(Unreadable, match=r"Sheet Fen, line 2 holds a formula\. Replace it by its value"):
        read_table(workbook([["a"], ["=1+1"]], name="Fen"), "a.xlsx")


def test_sheets_are_only_read_from_a_workbook():
    with pytest.raises(Unreadable, match=r"This must be an \.xlsx workbook"):
        read_sheets(b"a,b\n", "building.csv")


def test_a_sheet_without_a_header_is_refused_by_name():
    with pytest.raises(Unreadable, match=r"Sheet Fen is empty\. The first line must name the columns"):
        read_sheets(workbook([], name="Fen"), "building.xlsx")
