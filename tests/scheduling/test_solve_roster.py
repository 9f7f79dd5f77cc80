"""The command as a person runs it: a file in, a roster or one sentence out, and an exit status that scripts can use."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from scheduling.problem import read_problem, read_roster

PROJECT = Path(__file__).parent.parent.parent
MORNING = PROJECT / "tests" / "data" / "rosters" / "morning.json"


def solve_roster(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", "solve_roster", *map(str, arguments)],
        cwd=PROJECT,
        # Nothing of the service is set: the command needs none of it.
        env={"PATH": os.environ["PATH"]},
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_roster_goes_to_standard_output_and_can_be_kept(tmp_path):
    first = solve_roster(MORNING, "--seconds", 5)
    (tmp_path / "kept.json").write_text(first.stdout)
    second = solve_roster(MORNING, "--kept", tmp_path / "kept.json")

    assert (first.returncode, first.stderr, second.returncode) == (0, "", 0)
    roster = read_roster(second.stdout, read_problem(MORNING.read_text()))
    assert (roster.kept.stay, roster.kept.moved, roster.kept.lost) == (2, 0, 0)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{}", "format: This field is missing.\n"),
        (
            json.dumps({**json.loads(MORNING.read_text()), "turn_minutes": "6"}),
            "turn_minutes: This must be a number, not a text.\n",
        ),
        (None, "problem.json: This file cannot be read: No such file or directory.\n"),
    ],
)
def test_what_cannot_be_read_ends_with_status_2_and_one_sentence(tmp_path, text, sentence):
    path = tmp_path / "problem.json"
    if text is not None:
        path.write_text(text)

    answer = solve_roster(path)

    assert (answer.returncode, answer.stdout, answer.stderr) == (2, "", sentence)
