import json
import subprocess
import sys
from datetime import datetime
from itertools import islice
from pathlib import Path
from time import process_time

import pytest
from dateutil.rrule import rrulestr

from program.importing.recurrence import check_rule
from program.importing.refusals import Unfit
from tests.data.hostile.make import hostile_files

PROJECT = Path(__file__).parents[3]
# Our own promise for every file; its CPU is a limit to be kept, not a speed to be compared.
CPU_SECONDS = 2
MEGABYTES = 100


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict]:
    """Each file read once, in one process that has nothing else to do."""
    folder = tmp_path_factory.mktemp("hostile")
    files = hostile_files()
    for number, (filename, content) in enumerate(files.values()):
        (folder / f"{number:03}.{filename.rpartition('.')[2]}").write_bytes(content)
    run = subprocess.run(
        [sys.executable, "-m", "tests.program.importing.hostile_run", str(folder)],
        cwd=PROJECT,
        capture_output=True,
        check=True,
        timeout=300,
    )
    return dict(zip(files, json.loads(run.stdout).values(), strict=True))


def test_at_least_sixty_hostile_files_are_tried(answers):
    assert len(answers) >= 60


def test_nothing_of_a_hostile_file_is_kept_but_what_is_harmless(answers):
    kept = {name: answer["kept"] for name, answer in answers.items() if answer["kept"]}

    assert kept == {
        "KEPT the 30th of February": 1,
        "KEPT a Tuesday that is always Monday": 1,
        "KEPT as many events as are allowed": 4000,
        "KEPT as many styles as are allowed": 1,
    }


def test_whatever_is_not_kept_is_refused_with_a_sentence(answers):
    silent = [name for name, answer in answers.items() if not answer["kept"] and not answer["said"]]

    assert silent == []


def test_a_rule_that_never_comes_true_happens_only_on_its_first_day(answers):
    assert answers["KEPT the 30th of February"]["times"] == 1


def test_no_refusal_shows_what_a_file_tried_to_fetch(answers):
    sentences = " ".join(sentence for answer in answers.values() for sentence in answer["said"])

    assert "root:" not in sentences


def test_no_file_costs_more_than_two_seconds_of_computing(answers):
    slow = {name: answer["seconds"] for name, answer in answers.items() if answer["seconds"] > CPU_SECONDS}

    assert slow == {}


def test_no_file_costs_more_than_a_hundred_megabytes(answers):
    assert max(answer["megabytes"] for answer in answers.values()) <= MEGABYTES


def test_without_the_gate_the_library_would_go_on_far_beyond_what_we_allow():
    rule = "FREQ=SECONDLY;COUNT=1000000000"

    ungated = sum(1 for _ in islice(rrulestr(rule, dtstart=datetime.fromisoformat("2026-11-30")), 20_000))

    assert ungated == 20_000
    with pytest.raises(Unfit, match="SECONDLY"):
        check_rule(rule)


def test_without_the_end_of_the_calendar_a_rule_that_never_comes_true_is_followed_for_8_000_years():
    ungated = rrulestr("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", dtstart=datetime.fromisoformat("2026-11-30"))
    near_the_end = rrulestr("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", dtstart=datetime.fromisoformat("9990-11-30"))

    def cost(rule: object) -> float:
        started = process_time()
        assert list(rule) == []
        return process_time() - started

    assert cost(ungated) > 10 * cost(near_the_end)
