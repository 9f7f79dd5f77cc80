"""The table to take away: read back by two readers, one row a building, and no cell that runs."""

import csv
import io
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy
import pytest

from reports.documents import COLUMNS, Line, adherence_csv, in_a_cell
from tests.reports.pages.invented import figures

NEW_YORK = ZoneInfo("America/New_York")


def line(name: str, kept: dict | None, state: str = "made") -> Line:
    return Line(
        region="North",
        building=name,
        period="2026-11",
        starts_at=datetime(2026, 11, 1, tzinfo=NEW_YORK),
        ends_at=datetime(2026, 12, 1, tzinfo=NEW_YORK),
        as_of=datetime(2026, 12, 1, tzinfo=NEW_YORK),
        state=state,
        figures=kept,
    )


def read(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline=""), strict=True))


def test_there_is_one_row_a_building_with_shares_and_counts():
    arrowfen, coppermere = read(adherence_csv([line("Arrowfen", figures()), line("Coppermere", figures(0, 0))]))

    assert (arrowfen["building"], arrowfen["period"], arrowfen["as of"]) == (
        "Arrowfen",
        "2026-11",
        "2026-12-01T00:00-05:00",
    )
    assert (arrowfen["sessions done"], arrowfen["sessions published"], arrowfen["done of published"]) == (
        "45",
        "50",
        "0.9000",
    )
    # Newcombe 1998, method 3.
    assert (arrowfen["done of published, 95 % from"], arrowfen["done of published, 95 % until"]) == (
        "0.7864",
        "0.9565",
    )
    assert (arrowfen["done of prescribed"], arrowfen["sessions prescribed"]) == ("0.8479", "55.43")
    assert (arrowfen["one helps three: residents with a session"], arrowfen["one-to-one: residents"]) == ("9", "0")
    assert (coppermere["done of published"], coppermere["sessions published"]) == ("", "0")
    assert coppermere["period"] == "2026-11"


def test_a_building_without_figures_says_why_and_leaves_the_rest_empty():
    (row,) = read(adherence_csv([line("Arrowfen", None, "failed: It took too long.")]))

    known = ("region", "building", "period", "period from", "period until", "as of", "report", "note")
    assert row["report"] == "failed: It took too long."
    assert {name: value for name, value in row.items() if value and name not in known} == {}


def test_every_row_carries_the_caution():
    rows = read(adherence_csv([line("Arrowfen", figures()), line("Brindlewharf", None, "waiting")]))

    assert [row["note"].partition(".")[0] for row in rows] == ["Strength sessions here are not therapy minutes"] * 2


def test_another_reader_finds_the_same_table():
    content = adherence_csv([line("Arrowfen, the old house", figures()), line('The "Wharf"', figures(4, 5))])

    table = numpy.loadtxt(io.StringIO(content.decode()), delimiter=",", quotechar='"', dtype=str)
    rows = read(content)
    assert [list(row) for row in table] == [list(rows[0]), *(list(row.values()) for row in rows)]
    assert [row["building"] for row in rows] == ["Arrowfen, the old house", 'The "Wharf"']


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_no_name_runs_as_a_formula(name):
    (row,) = read(adherence_csv([line(name, figures())]))

    assert row["building"] == f"'{name}"


def test_numbers_are_never_changed_and_nothing_is_not_zero():
    assert [in_a_cell(value) for value in (-1, 0, 0.5, None, True, "plain")] == ["-1", "0", "0.5", "", "yes", "plain"]


def test_without_buildings_there_is_the_header_alone():
    titles = [title for title, _ in COLUMNS]

    assert list(csv.reader(io.StringIO(adherence_csv([]).decode(), newline=""))) == [titles]
    assert len(set(titles)) == len(titles)
