"""Whether a process that wrote its number into a file still lives, and is the one meant."""

from contextlib import suppress
from pathlib import Path

import psutil  # type: ignore[import-untyped] # it ships no types


def written_pid(file: Path) -> int | None:
    """The process number on the first line of a file; None where there is none."""
    try:
        return int(file.read_text().split("\n", 1)[0])
    except (FileNotFoundError, ValueError):
        return None


def works_in(process: psutil.Process, folder: Path, *, name: str) -> bool:
    """Whether this is a living process of this name that works in this folder; raises psutil.Error where it hides.

    Where nobody reaps the dead, a killed server stays as a zombie that signals still reach; and after a restart of the
    machine its number may belong to a stranger.
    """
    if process.status() == psutil.STATUS_ZOMBIE or not process.name().startswith(name):
        return False
    return Path(process.cwd()) == folder


def lives_in(pid: int | None, folder: Path, *, name: str) -> bool:
    """Whether the process that wrote this number is a living server of this folder."""
    if pid is None or pid <= 0:
        return False
    try:
        process = psutil.Process(pid)
        try:
            return works_in(process, folder, name=name)
        except psutil.AccessDenied:
            # A locked-down container hides from root where another account's process works. To take a stranger for our
            # server costs a clear failure; to take our server for dead could start two on the same files.
            return bool(process.uids().real == folder.stat().st_uid)
    except psutil.NoSuchProcess:
        return False


def anyone_in(folder: Path, *, name: str) -> bool:
    """Whether any process that shows where it works does so in this folder."""
    for process in psutil.process_iter():
        with suppress(psutil.Error):
            if works_in(process, folder, name=name):
                return True
    return False
