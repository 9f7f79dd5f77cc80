"""Locks of the database: a number each, all in one place."""

import re
from pathlib import Path

from program.actions import locks

ROOT = Path(__file__).resolve().parents[3]
NUMBER = re.compile(r"^[A-Z_]+(?:, [A-Z_]+)* = \d{4}(?:, \d{4})*$", re.MULTILINE)


def test_no_two_kinds_of_work_share_the_number_of_their_lock() -> None:
    numbers = {name: value for name, value in vars(locks).items() if name.isupper() and isinstance(value, int)}

    assert set(numbers) == {"PLAN", "ROSTER", "REPORT", "FLAGS", "SEEDING"}
    assert len(set(numbers.values())) == len(numbers)


def test_whoever_takes_a_lock_has_its_number_from_there() -> None:
    found = [path for package in ("program", "scheduling", "reports") for path in (ROOT / package).rglob("*.py")]
    takes = {path.relative_to(ROOT).as_posix(): path.read_text() for path in found}
    takes = {path: text for path, text in takes.items() if "_advisory_" in text and "/migrations/" not in path}

    assert [path for path, text in takes.items() if NUMBER.search(text)] == ["program/actions/locks.py"]
    assert len(takes) > 1
