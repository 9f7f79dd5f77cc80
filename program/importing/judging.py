"""Judging a row field by field: what is wrong is collected with its line, never raised past it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from program.importing.cells import by_column, column_name
from program.importing.refusals import RowRefusal, Unfit
from program.importing.tables import Table
from program.importing.workbooks import Row

Value = TypeVar("Value")


@dataclass(slots=True)
class RowJudge:
    """One row under judgement. A field that is empty or unfit reads as None; unfit ones are in `refusals`."""

    line: int
    cells: Mapping[str, str]
    sheet: str = ""
    refusals: list[RowRefusal] = field(default_factory=list)

    def written(self, name: str) -> str:
        return self.cells.get(name, "")

    def read(self, name: str, reading: Callable[[str], Value]) -> Value | None:
        return self._reading(name, reading) if self.written(name) else None

    def need(self, name: str, reading: Callable[[str], Value]) -> Value | None:
        if not self.written(name):
            self.refuse(name, "This must not be empty. Fill it in.")
        return self.read(name, reading)

    def refuse(self, name: str, sentence: str) -> None:
        self.refusals.append(RowRefusal(self.line, name, sentence, self.sheet))

    def _reading(self, name: str, reading: Callable[[str], Value]) -> Value | None:
        try:
            return reading(self.written(name))
        except Unfit as unfit:
            self.refuse(name, unfit.sentence)
            return None


def header_refusals(table: Table, *, allowed: Sequence[str], required: Sequence[str]) -> list[RowRefusal]:
    """Columns that are unknown, named twice or missing. With any of these no row can be judged."""
    line = table.header_line
    refusals = []
    known = {column_name(name) for name in allowed}
    written = [column_name(name) for name in table.header]
    for position, name in enumerate(written):
        shown = table.header[position]
        if not name:
            refusals.append(RowRefusal(line, "", f"Column {position + 1} has no name. Name or remove it.", table.sheet))
        elif name not in known:
            refusals.append(RowRefusal(line, shown, "This column is not known. Remove or rename it.", table.sheet))
        elif name in written[:position]:
            refusals.append(RowRefusal(line, shown, "This column is there twice. Remove one.", table.sheet))
    for name in required:
        if column_name(name) not in written:
            refusals.append(RowRefusal(line, name, "This column is missing. Add it.", table.sheet))
    return refusals


def row_judge(table: Table, row: Row, names: Sequence[str]) -> RowJudge:
    """A judge that knows each cell by our own name for its column."""
    ours = {column_name(name): name for name in names}
    header = tuple(ours[column_name(written)] for written in table.header)
    judge = RowJudge(row.line, by_column(header, row.cells), table.sheet)
    if len(row.cells) > len(header):
        judge.refuse("", "This line has more cells than there are columns. Put texts with commas in quotation marks.")
    return judge
