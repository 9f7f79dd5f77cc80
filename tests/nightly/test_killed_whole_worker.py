"""A worker killed whole, with its child: the work is taken up within the minute by the next one, and done once."""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import quote

import psutil
import pytest
import redis
from celery import Celery
from django.db import connection

from program import clock
from program.config.children import end
from tests.conftest import House
from tests.nightly.test_killed_worker import Job, a_report, a_roster
from tests.nightly.test_killed_worker import house as house

pytestmark = pytest.mark.django_db(transaction=True)
PROJECT = Path(__file__).resolve().parents[2]
WITHIN_SECONDS = 60
TASKS = {"a_roster": "scheduling.tasks.fill_roster", "a_report": "reports.tasks.make"}


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """The database of the tests, and a queue that nobody else reads."""
    told = connection.settings_dict
    queue = os.environ["REDIS_URL"].rpartition("/")[0] + "/5"
    redis.Redis.from_url(queue).flushdb()
    return os.environ | {
        "DATABASE_URL": f"postgresql://{told['USER']}@/{told['NAME']}?host={quote(told['HOST'], safe='')}",
        "REDIS_URL": queue,
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "BEAT": str(tmp_path / "beat"),
    }


@pytest.fixture
def start(environment: dict[str, str], tmp_path: Path) -> Iterator[Callable[..., psutil.Process]]:
    started: list[psutil.Process] = []

    def begin(*command: str, **more: str) -> psutil.Process:
        celery = [sys.executable, "-m", "celery", "--app", "tests.nightly.mortal_worker:app", *command]
        with (tmp_path / f"{len(started)}.log").open("w") as log:
            process = psutil.Popen(celery, cwd=PROJECT, env=environment | more, stdout=log, stderr=subprocess.STDOUT)
        started.append(process)
        return process

    yield begin
    end(started)


@pytest.mark.parametrize("statement", [2, 7, 13])
@pytest.mark.parametrize("job_of", [a_roster, a_report])
def test_the_next_worker_finishes_what_a_killed_one_had_begun(
    house: House,
    environment: dict[str, str],
    start: Callable[..., psutil.Process],
    job_of: Callable[[House], Job],
    statement: int,
) -> None:
    # The worker has a clock of its own.
    clock.set_to(None)
    job = job_of(house)
    asked = job.ask()
    Celery(broker=environment["REDIS_URL"]).send_task(TASKS[job_of.__name__], args=[asked, house.building.pk])
    start("worker", "--concurrency", "1", KILL_AT=str(statement)).wait(timeout=60)

    began = time.monotonic()
    start("worker", "--concurrency", "1")
    start("beat", "--schedule", environment["BEAT"], "--pidfile", "")
    while not is_done(job, asked) and time.monotonic() - began < 2 * WITHIN_SECONDS:
        time.sleep(0.5)
    took = time.monotonic() - began

    print(f"{job_of.__name__}, killed whole at statement {statement}: taken up and done {took:.0f} s later")  # noqa: T201
    assert is_done(job, asked)
    assert took < WITHIN_SECONDS
    assert job.effects(asked)[2] == 1


def is_done(job: Job, asked: int) -> bool:
    try:
        return job.effects(asked)[0] in {"draft", "made"}
    except TypeError:
        # No answer yet.
        return False
