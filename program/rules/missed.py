"""Runs of missed sessions: one or two in a row are missed, three or more interrupt the training."""

from collections.abc import Iterable
from itertools import groupby

# Nilsen 2018 and Fairman 2020 count three or more consecutive missed sessions as an interruption.
INTERRUPTED_FROM = 3
MISSED, INTERRUPTED = "missed", "interrupted"


def longest_run(is_missed: Iterable[bool]) -> int:
    """The most sessions missed in a row; `is_missed` in order of time."""
    return max((length for missed, length in _runs(is_missed) if missed), default=0)


def run_at_the_end(is_missed: Iterable[bool]) -> int:
    """How many of the latest sessions were missed in a row."""
    runs = _runs(is_missed)
    return runs[-1][1] if runs and runs[-1][0] else 0


def word_for(run: int) -> str:
    """`missed` for one or two in a row, `interrupted` for more; empty for none."""
    if run >= INTERRUPTED_FROM:
        return INTERRUPTED
    return MISSED if run else ""


def _runs(is_missed: Iterable[bool]) -> list[tuple[bool, int]]:
    return [(missed, len(list(row))) for missed, row in groupby(map(bool, is_missed))]
