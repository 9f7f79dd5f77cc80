"""What was found in a file, row by row, beside what is there: new, changed, unchanged or refused."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

NEW, CHANGED, UNCHANGED, NOTE = "new", "changed", "unchanged", "note"

Row = dict[str, Any]


@dataclass(slots=True)
class Judged:
    """`rows` hold the values that will be written; refusals name line, field and what is wrong. All of it is JSON."""

    rows: list[Row] = field(default_factory=list)
    refusals: list[Row] = field(default_factory=list)

    def refuse(self, line: int, column: str, sentence: str, sheet: str = "") -> None:
        self.refusals.append({"line": line, "field": column, "sentence": sentence, "sheet": sheet})

    def note(self, line: int, sentence: str, **more: Any) -> None:
        self.rows.append({"line": line, "what": NOTE, "sentence": sentence, "changes": [], **more})

    @property
    def counts(self) -> dict[str, int]:
        found = Counter(row["what"] for row in self.rows)
        refused = {(refusal["sheet"], refusal["line"]) for refusal in self.refusals}
        return {NEW: found[NEW], CHANGED: found[CHANGED], UNCHANGED: found[UNCHANGED], "refused": len(refused)}

    def outcome(self) -> list[Row]:
        """What would be written, without the words around it: the same as long as nothing has changed meanwhile."""
        return [
            # The database keeps JSON without its order, so the changes are told in one of their own.
            {"line": row["line"], "what": row["what"], "changes": sorted(row["changes"], key=lambda one: one["field"])}
            for row in self.rows
            if row["what"] != NOTE
        ]


def row_of(line: int, changes: Sequence[Row], *, is_new: bool, **more: Any) -> Row:
    what = NEW if is_new else CHANGED if changes else UNCHANGED
    return {"line": line, "what": what, "changes": [] if is_new else list(changes), **more}


def differing(was: dict[str, Any], becomes: dict[str, Any]) -> list[Row]:
    """One entry for each field of `becomes` that is not what it was."""
    return [
        {"field": name, "was": was.get(name), "becomes": value}
        for name, value in becomes.items()
        if was.get(name) != value
    ]


def unfit_fields(row: models.Model, *names: str) -> dict[str, str]:
    """Those of the named fields that the table cannot hold, with a sentence each; asks the database nothing."""
    others = {field.name for field in row._meta.fields} - set(names)
    try:
        row.clean_fields(exclude=others)
    except ValidationError as error:
        return {name: sentences[0] for name, sentences in error.message_dict.items()}
    return {}
