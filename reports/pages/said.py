"""Figures in words: beside every picture stand its numbers, and what is missing is said, never shown as zero."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

NO_BREAK = "\u00a0"
CALLS = {"stopped recording": "Stopped recording", "stopped training": "Stopped training"}
CLASSES = ("resident", "clinical", "our side")


def percent(share: float, digits: int = 1) -> str:
    """`90.0 %`."""
    return f"{share * 100:.{digits}f}{NO_BREAK}%"


def between(low: float, high: float) -> str:
    """`78.6–95.7`, in percent."""
    return f"{low * 100:.1f}–{high * 100:.1f}"


def day_words(text: str | None) -> str:
    """`Tue 10 Nov`, of an ISO date."""
    if not text:
        return ""
    day = date.fromisoformat(text)
    return f"{day:%a} {day.day} {day:%b}"


def moment_words(moment: datetime) -> str:
    """`Tue 1 Dec 2026, 00:00`, of a moment that already is in its building's time."""
    return f"{moment:%a} {moment.day} {moment:%b %Y, %H:%M}"


def counted(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def trimmed(number: float) -> str:
    """One decimal, and none where it is whole."""
    return f"{number:.1f}".removesuffix(".0")


@dataclass(frozen=True, slots=True)
class Said:
    """A figure: the number itself, and the counts behind it."""

    figure: str
    counts: str = ""
    mark: str = ""


def attendance_said(attendance: Mapping[str, Any]) -> Said:
    done, published, open_ended = attendance["done"], attendance["published"], attendance["not_recorded"]
    if attendance["share"] is None:
        return Said("none published")
    interval = f"({between(attendance['low'], attendance['high'])})"
    if not attendance["is_range"]:
        return Said(f"{percent(attendance['share'])} {interval}", f"{done} of {published}")
    return Said(
        f"{between(attendance['least'], attendance['most'])}{NO_BREAK}% {interval}",
        f"{done} to {done + open_ended} of {published}",
        f"range: {percent(open_ended / published, 0)} not recorded",
    )


def not_recorded_of(attendance: Mapping[str, Any]) -> int:
    """How many sessions make the figures a range; none where they are too few to matter."""
    return int(attendance["not_recorded"]) if attendance["is_range"] else 0


def completion_said(completion: Mapping[str, Any], not_recorded: int = 0) -> Said:
    """What was not recorded may have been done: then it is at least so much."""
    if completion["ratio"] is None:
        return Said("none prescribed", f"{completion['done']} done" if completion["done"] else "")
    told = f"{completion['done']} of {trimmed(completion['prescribed'])} prescribed"
    if not not_recorded:
        return Said(percent(completion["ratio"], 0), told)
    return Said(f"at least {percent(completion['ratio'], 0)}", f"{told}, {not_recorded} not recorded")


def volume_said(volume: Mapping[str, Any]) -> Said:
    if volume["share"] is None:
        return Said("none planned")
    told = f"mean of {counted(volume['residents'], 'resident')}"
    if volume["equipment"]:
        told += f"; {percent(volume['equipment'])} was left out because a station was closed"
    return Said(percent(volume["share"]), told)


def missed_most(missed: Mapping[str, int]) -> str:
    """The class of reasons named most often, with its count of all missed; two of the same size are both named."""
    total, most = sum(missed.values()), max(missed.values())
    if not total:
        return "none missed"
    named = " and ".join(kind for kind in CLASSES if missed[kind] == most)
    return f"{named}, {most} {'each ' if ' and ' in named else ''}of {total}"


def withdrawn_said(withdrawn: Mapping[str, Any]) -> str:
    notice = withdrawn["notice_hours_median"]
    if notice is None:
        return "none"
    return f"half of all withdrawals came {trimmed(notice)} hours or more before the start"


def call_words(figures: Mapping[str, Any]) -> str:
    """`Stopped recording since Tue 10 Nov`; empty for a building that trains and records."""
    recording = figures["recording"]
    what = CALLS.get(recording["state"], "")
    return f"{what} since {day_words(recording['since'])}" if what and recording["since"] else what


def lasts_words(recording: Mapping[str, Any]) -> str:
    """When something was written, and when a session was done, for the last time."""
    written, done = recording["last_recorded_on"], recording["last_done_on"]
    told = [f"Last written {day_words(written)}."] if written else []
    told += [f"Last session done {day_words(done)}."] if done else []
    return " ".join(told)
