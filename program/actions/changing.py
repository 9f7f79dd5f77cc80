"""How a row is made or changed: judged in full, and never over somebody else's newer version."""

from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models

from program.rules.errors import Invalid, Refused, Stale

Row = TypeVar("Row", bound=models.Model)


def as_refusal(error: ValidationError) -> Refused:
    """The first thing that is wrong, as one sentence; all of it in the details, by field."""
    found = error.message_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.messages}
    errors = [
        {"field": None if field == NON_FIELD_ERRORS else field, "sentence": sentence}
        for field, sentences in found.items()
        for sentence in sentences
    ]
    first = errors[0]
    label = f"{str(first['field']).replace('_', ' ').capitalize()}: " if first["field"] else ""
    return Refused(f"{label}{first['sentence']}", problem="invalid", details={"errors": errors})


def judged(row: Row) -> Row:
    """The row, if it keeps all its rules; Refused with a sentence if not."""
    try:
        row.full_clean()
    except ValidationError as error:
        raise as_refusal(error) from None
    return row


def make(row: Row) -> Row:
    """Judge and insert."""
    judged(row).save(force_insert=True)
    return row


def change(row: Row, *, version: int | None, **fields: Any) -> Row:
    """Judge and update `fields` of the row as it was at `version` (None: as it was read); Stale if it has moved on."""
    expected = row.version if version is None else version  # type: ignore[attr-defined]
    if expected != row.version:  # type: ignore[attr-defined]
        raise _stale(row)
    for name, value in fields.items():
        setattr(row, name, value)
    judged(row)
    row.version = expected + 1  # type: ignore[attr-defined]
    found = type(row)._default_manager.filter(pk=row.pk, version=expected)
    if not found.update(version=row.version, **fields):  # type: ignore[attr-defined]
        row.refresh_from_db()
        raise _stale(row)
    return row


def _stale(row: models.Model) -> Stale:
    return Stale(
        "Somebody else has changed this since you looked. See what is there now, then change it again.",
        current_version=row.version,  # type: ignore[attr-defined]
    )


def only(allowed: set[str], fields: dict[str, Any]) -> dict[str, Any]:
    """`fields`, if an action knows them all; Invalid naming the first it does not."""
    for name in fields:
        if name not in allowed:
            raise Invalid(f"“{name}” cannot be changed here.", field=name)
    return fields
