"""Reads the files of a folder in a process of its own and writes, as JSON, what each cost and what was kept of it."""

import json
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from program.importing.calendars import CommitmentRow, read_calendar
from program.importing.recurrence import occurrences
from program.importing.refusals import Unreadable
from program.importing.residents import judge
from program.importing.tables import read_table
from tests.data.hostile.make import event, workbook

TODAY = date(2026, 11, 28)
WINDOW = datetime(2026, 11, 28, tzinfo=UTC)


def read(filename: str, content: bytes) -> dict[str, object]:
    """Reads as the service would, and expands whatever is kept."""
    started = time.process_time()
    kept, said = 0, []
    try:
        if filename.endswith(".ics"):
            calendar = read_calendar(content, timezone="America/New_York", today=TODAY)
            kept, said = len(calendar.rows), [refusal.sentence for refusal in calendar.refusals]
            times = sum(_times(row) for row in calendar.rows[:10])
        else:
            table = read_table(content, filename)
            judged = judge(table, timezone="America/New_York", stations=(), units=(), today=TODAY)
            kept, said, times = len(judged.rows), [refusal.sentence for refusal in judged.refusals], 0
    except Unreadable as unreadable:
        said, times = [unreadable.sentence], 0
    return {"seconds": time.process_time() - started, "kept": kept, "times": times, "said": said[:3]}


def _times(row: CommitmentRow) -> int:
    until = WINDOW + timedelta(days=400)
    return len(occurrences(row.times, timezone="America/New_York", window_from=WINDOW, window_until=until))


def peak_megabytes() -> float:
    # The kernel's own mark: the one of getrusage begins at the size of the process that started this one.
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


if __name__ == "__main__":
    # Both readers are warm before anything is measured: what they need for sound files is not the hostile ones' doing.
    read("a.ics", event("DTSTART:20261130T090000", "DURATION:PT1H"))
    read("a.xlsx", workbook())
    before = peak_megabytes()
    answers = {
        file.name: read(file.name, file.read_bytes()) | {"megabytes": peak_megabytes() - before}
        for file in sorted(Path(sys.argv[1]).iterdir())
    }
    json.dump(answers, sys.stdout)
