"""Processes that the demo starts: each with a log of its own, ended together, and found again after a killed run."""

import json
import os
import signal
import subprocess
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import psutil  # type: ignore[import-untyped] # it ships no types

# A worker asked to go may finish the task in hand.
PATIENCE_SECONDS = 25
LAST_LINES = 20
# Times of birth are counted from the start of the machine, and its clock may have been set right since.
CLOCK_SECONDS = 5


@dataclass(frozen=True, slots=True)
class Child:
    name: str
    process: psutil.Popen
    log: Path

    def last_lines(self) -> str:
        return "\n".join(self.log.read_text(errors="replace").splitlines()[-LAST_LINES:])


def start_child(name: str, command: Sequence[str], *, environment: Mapping[str, str], cwd: Path, logs: Path) -> Child:
    """Start it in a session of its own, so that Ctrl-C reaches the parent alone and the end stays in order."""
    log = logs / f"{name}.log"
    if log.exists():
        log.replace(logs / f"{name}.previous.log")
    with log.open("wb") as written:
        process = psutil.Popen(
            command,
            cwd=cwd,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=written,
            stderr=written,
            start_new_session=True,
        )
    return Child(name, process, log)


def first_dead(children: Sequence[Child]) -> Child | None:
    return next((child for child in children if child.process.poll() is not None), None)


def end(processes: Sequence[psutil.Process]) -> None:
    """Ask all of them to go, wait, and make those go that did not, with whatever they started themselves."""
    for process in processes:
        with suppress(psutil.NoSuchProcess):
            process.terminate()
    psutil.wait_procs(processes, timeout=PATIENCE_SECONDS)
    for process in processes:
        # Each leads a group of its own, which outlives it where it was killed.
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)


def remember(file: Path, *, address: str, processes: Sequence[psutil.Process]) -> None:
    """Write who runs, with their time of birth: a number alone may belong to a stranger later."""
    told = {"address": address, "processes": [[process.pid, process.create_time()] for process in processes]}
    scratch = file.with_suffix(".scratch")
    scratch.write_text(json.dumps(told))
    scratch.replace(file)


def remembered(file: Path) -> tuple[str, list[psutil.Process]]:
    """The address and the processes of the last run that still live."""
    try:
        told = json.loads(file.read_text())
    except (FileNotFoundError, json.JSONDecodeError):
        return "", []
    living = []
    for pid, created_at in told["processes"]:
        with suppress(psutil.NoSuchProcess):
            process = psutil.Process(pid)
            same = abs(process.create_time() - created_at) < CLOCK_SECONDS
            if same and process.status() != psutil.STATUS_ZOMBIE:
                living.append(process)
    return told["address"], living
