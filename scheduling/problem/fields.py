"""Reading JSON strictly: every field knows its path, and the first wrong one is named with a sentence."""

import json
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, NoReturn, TypeVar

from scheduling.problem.facts import Span, Value

Found = TypeVar("Found")

LONGEST_TEXT = 64_000_000
LARGEST_NUMBER = 10**12
MOST_DECIMALS = 12
INSTANT = re.compile(
    r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d(?::\d\d(?:\.(\d+))?)?)(Z|[+-]\d\d:\d\d)",
    re.ASCII,
)
YEARS = range(1970, 2201)


class Malformed(ValueError):
    """A file that cannot be read: the path of its first wrong field, and what is wrong with it."""

    def __init__(self, path: str, sentence: str) -> None:
        super().__init__(f"{path}: {sentence}")
        self.path = path
        self.sentence = sentence


class Field:
    """One value of the file and where it stands, such as `residents[3].available[0][1]`."""

    __slots__ = ("path", "raw")

    def __init__(self, raw: Any, path: str = "") -> None:
        self.raw = raw
        self.path = path

    def refuse(self, sentence: str) -> NoReturn:
        raise Malformed(self.path or "the file", sentence)

    def keys(self, required: str, optional: str = "") -> "Fields":
        if not isinstance(self.raw, dict):
            self.refuse(f"This must be an object, not {_kind(self.raw)}.")
        known = {*required.split(), *optional.split()}
        for key in self.raw:
            if key not in known:
                Field(None, self._under(str(key)[:60])).refuse("There is no such field in this format; leave it out.")
        for key in required.split():
            if key not in self.raw:
                Field(None, self._under(key)).refuse("This field is missing.")
        return Fields({key: Field(raw, self._under(key)) for key, raw in self.raw.items()}, self)

    def _under(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def items(self, *, at_most: int, at_least: int = 0) -> "Iterator[Field]":
        if not isinstance(self.raw, list):
            self.refuse(f"This must be a list, not {_kind(self.raw)}.")
        if not at_least <= len(self.raw) <= at_most:
            self.refuse(f"This list must hold {at_least} to {at_most} entries, and holds {len(self.raw)}.")
        return (Field(raw, f"{self.path}[{place}]") for place, raw in enumerate(self.raw))

    def text(self, *, at_most: int = 200) -> str:
        if not isinstance(self.raw, str):
            self.refuse(f"This must be a text, not {_kind(self.raw)}.")
        if not 1 <= len(self.raw) <= at_most or not self.raw.isprintable():
            self.refuse(f"This text must hold 1 to {at_most} printable characters.")
        return self.raw

    def one_of(self, *choices: str) -> str:
        if self.raw not in choices:
            self.refuse(f"This must be {' or '.join(map(json.dumps, choices))}.")
        return str(self.raw)

    def whole(self, *, at_least: int, at_most: int) -> int:
        # A truth value is an int in Python; here it is a mistake.
        if isinstance(self.raw, bool) or not isinstance(self.raw, int):
            self.refuse(f"This must be a whole number, not {_kind(self.raw)}.")
        if not at_least <= self.raw <= at_most:
            self.refuse(f"This number must lie between {at_least} and {at_most}.")
        return self.raw

    def number(self, *, at_least: int = 0, at_most: int = LARGEST_NUMBER) -> Value:
        if isinstance(self.raw, bool) or not isinstance(self.raw, int | float | Decimal):
            self.refuse(f"This must be a number, not {_kind(self.raw)}.")
        exact = Decimal(repr(self.raw)) if isinstance(self.raw, float) else self.raw
        if isinstance(exact, Decimal) and not exact.is_finite():
            self.refuse("This must be a finite number, not NaN or Infinity.")
        if not at_least <= exact <= at_most:
            self.refuse(f"This number must lie between {at_least} and {at_most}.")
        if isinstance(exact, int):
            return exact
        if -int(exact.as_tuple().exponent) > MOST_DECIMALS:
            self.refuse(f"This number has more than {MOST_DECIMALS} decimals.")
        value = Fraction(exact)
        return int(value) if value.denominator == 1 else value

    def instant(self) -> datetime:
        if not isinstance(self.raw, str):
            self.refuse(f"This must be an instant such as 2026-11-30T13:00:00Z, not {_kind(self.raw)}.")
        parts = INSTANT.fullmatch(self.raw)
        if parts is None:
            self.refuse("This must be an ISO 8601 instant with its offset or Z, such as 2026-11-30T08:00:00-05:00.")
        if len((parts[3] or "").rstrip("0")) > 6:
            self.refuse("An instant may not be finer than a microsecond.")
        try:
            instant = datetime.fromisoformat(self.raw).astimezone(UTC)
        except (ValueError, OverflowError):
            self.refuse("There is no such date or time.")
        if instant.year not in YEARS:
            self.refuse(f"The year must lie between {YEARS[0]} and {YEARS[-1]}.")
        return instant

    def span(self, *, may_be_empty: bool = True) -> Span:
        start, end = (field.instant() for field in self.items(at_least=2, at_most=2))
        Field(None, f"{self.path}[1]").after(start, end, may_be_empty=may_be_empty)
        return Span(start, end)

    def after(self, start: datetime, end: datetime, *, may_be_empty: bool = True) -> None:
        if end < start or (end == start and not may_be_empty):
            self.refuse("The end must come after the start.")

    def or_none(self, read: "Callable[[Field], Found]") -> "Found | None":
        return None if self.raw is None else read(self)


class Fields:
    """The fields of one object, by name."""

    __slots__ = ("_by_name", "whole_object")

    def __init__(self, by_name: dict[str, Field], whole_object: Field) -> None:
        self._by_name = by_name
        self.whole_object = whole_object

    def __getitem__(self, name: str) -> Field:
        return self._by_name[name]

    def get(self, name: str) -> Field:
        return self._by_name.get(name, Field(None, name))


def read_json(source: str | bytes | dict[str, Any]) -> Field:
    """The whole file as a field; a text that is no JSON is malformed too."""
    if isinstance(source, dict):
        return Field(source)
    if len(source) > LONGEST_TEXT:
        raise Malformed("the file", f"The file is longer than {LONGEST_TEXT} characters.")
    try:
        return Field(json.loads(source, parse_float=Decimal, parse_constant=float, object_pairs_hook=_unique_keys))
    except RecursionError:
        raise Malformed("the file", "The file is nested too deeply.") from None
    except Malformed:
        raise
    except ValueError as error:
        raise Malformed("the file", f"This is not JSON: {error}.") from None


def _unique_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise Malformed("the file", f"The field {json.dumps(twice[:60])} stands twice in one object.")
    return fields


def _kind(raw: Any) -> str:
    kinds = {bool: "a truth value", str: "a text", list: "a list", dict: "an object", type(None): "null"}
    return kinds.get(type(raw), "a number")
