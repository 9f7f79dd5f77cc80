"""From a problem's file to a roster on standard output, without any database."""

import json
from argparse import ArgumentTypeError
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser

from scheduling.problem import Malformed, read_problem, read_roster, write_roster
from scheduling.solver import solve

MALFORMED = 2
MOST_SECONDS = 86_400


def run(problem_text: str | bytes, seconds: float, kept_text: str | bytes | None = None) -> str:
    """The roster as JSON; raises Malformed for a problem or a roster to be kept that cannot be read."""
    problem = read_problem(problem_text)
    kept = None
    if kept_text is not None:
        try:
            kept = read_roster(kept_text)
        except Malformed as wrong:
            raise Malformed(f"kept: {wrong.path}", wrong.sentence) from None
    return json.dumps(write_roster(solve(problem, seconds=seconds, kept=kept)), indent=1)


class Command(BaseCommand):
    help = "Solves a roster problem and writes the roster as JSON."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("problem", type=Path, metavar="PROBLEM.json")
        parser.add_argument("--seconds", type=_seconds, default=30.0, metavar="N", help="stop after so many seconds")
        parser.add_argument("--kept", type=Path, metavar="ROSTER.json", help="a roster whose sessions should stay")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            kept = self._read(options["kept"]) if options["kept"] else None
            answer = run(self._read(options["problem"]), options["seconds"], kept)
        except Malformed as wrong:
            self._refuse(f"{wrong.path}: {wrong.sentence}")
        self.stdout.write(answer)

    def _read(self, path: Path) -> bytes:
        try:
            return path.read_bytes()
        except OSError as error:
            self._refuse(f"{path.name}: This file cannot be read: {error.strerror}.")

    def _refuse(self, sentence: str) -> NoReturn:
        self.stderr.write(sentence)
        raise SystemExit(MALFORMED)


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1
    if not 0 <= seconds <= MOST_SECONDS:
        raise ArgumentTypeError(f"give a number of seconds from 0 to {MOST_SECONDS}")
    return seconds
