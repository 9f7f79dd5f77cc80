"""Whether a building trains and records, or has stopped, since when: what tells it apart in one sentence."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from reports.figures.facts import Closed, Facts, Visit
from reports.figures.outcomes import Judged, Outcome, judged_before

RECORDING, STOPPED_RECORDING, STOPPED_TRAINING = "recording", "stopped recording", "stopped training"
CLOSED, NOTHING_PUBLISHED = "closed", "nothing published"
# Common practice, no source: three open days in a row are no bad day any more.
STOPPED_FROM_DAYS = 3
UNPUBLISHED_DAYS = 7


@dataclass(frozen=True, slots=True)
class Day:
    """A day with published sessions that has closed, and what became of them."""

    on: date
    sessions: list[Judged]

    @property
    def not_recorded(self) -> int:
        return sum(one.outcome is Outcome.NOT_RECORDED for one in self.sessions)

    @property
    def is_unrecorded(self) -> bool:
        return self.not_recorded == len(self.sessions)

    @property
    def has_none_done(self) -> bool:
        return not any(one.outcome is Outcome.DONE for one in self.sessions)


def recording(facts: Facts, sessions: list[Judged]) -> dict[str, Any]:
    """In the agreed shape: the state, the first day of it, and a sentence.

    A building that trains on two days a week has three in a row only in two weeks: the weeks before the period count
    for what it has stopped, and since when.
    """
    so_far = [*judged_before(facts), *sessions]
    recorded = [one for one in so_far if one.outcome in (Outcome.DONE, Outcome.MISSED)]
    done = [visit for visit in (*facts.earlier, *facts.visits) if visit.is_done]
    state, since, sentence = _state(facts, sessions, so_far, done)
    return {
        "state": state,
        "since": since and since.isoformat(),
        "last_recorded_on": _last_day(facts, [one.visit.starts_at for one in recorded] + [v.starts_at for v in done]),
        "last_done_on": _last_day(facts, [visit.starts_at for visit in done]),
        "sentence": sentence,
    }


def open_days(facts: Facts, sessions: list[Judged]) -> list[Day]:
    """The days with published sessions that count and that had all closed, in order."""
    by_day: dict[date, list[Judged]] = {}
    for one in sessions:
        if one.is_counted and one.visit.day_closes_at <= facts.as_of:
            by_day.setdefault(facts.day_of(one.visit.starts_at), []).append(one)
    return [Day(on, by_day[on]) for on in sorted(by_day)]


def _state(
    facts: Facts, sessions: list[Judged], so_far: list[Judged], done: list[Visit]
) -> tuple[str, date | None, str]:
    if closure := _closed_at_the_end(facts):
        since = facts.day_of(closure.starts_at)
        return CLOSED, since, f"The building is closed since {_words(since)} ({closure.reason})."
    days = _since_the_last(facts, done, open_days(facts, so_far)) if sessions else []
    silent = _latest(days, lambda day: day.is_unrecorded)
    if len(silent) >= STOPPED_FROM_DAYS:
        count = sum(day.not_recorded for day in silent)
        since = silent[0].on
        return (
            STOPPED_RECORDING,
            since,
            f"Nothing was written since {_words(since)}: {count} sessions are not recorded.",
        )
    idle = _latest(days, lambda day: day.has_none_done)
    if len(idle) >= STOPPED_FROM_DAYS:
        count, since = sum(len(day.sessions) for day in idle), idle[0].on
        return STOPPED_TRAINING, since, f"No session was done since {_words(since)}: {count} were published."
    if unpublished := _unpublished_since(facts, so_far, done):
        sentence = f"Nothing was published since {_words(unpublished)}, though residents are enrolled."
        return STOPPED_TRAINING, unpublished, sentence
    if not sessions:
        return NOTHING_PUBLISHED, None, "Nothing was published."
    return RECORDING, None, _how_well(sessions)


def _how_well(sessions: list[Judged]) -> str:
    counted = [one for one in sessions if one.is_counted]
    silent = sum(one.outcome is Outcome.NOT_RECORDED for one in counted)
    if 2 * silent > len(counted):
        return f"Most sessions are not recorded: {silent} of {len(counted)}."
    return "Sessions are recorded."


def _since_the_last(facts: Facts, done: list[Visit], days: list[Day]) -> list[Day]:
    """The days after the last visit that was done and written down, also one that nobody had planned."""
    last = max((facts.day_of(visit.starts_at) for visit in done), default=date.min)
    return [day for day in days if day.on > last]


def _closed_at_the_end(facts: Facts) -> Closed | None:
    """The closure of the whole building that lies over the last week of the period."""
    start = max(facts.starts_at, facts.days_before(facts.judged_at, UNPUBLISHED_DAYS))
    whole = [closure for closure in facts.closures if closure.what == "building"]
    return next((closure for closure in whole if closure.covers(start, facts.judged_at)), None)


def _latest(days: list[Day], is_so: Callable[[Day], bool]) -> list[Day]:
    """The days at the end for all of which it is so."""
    kept: list[Day] = []
    for day in reversed(days):
        if not is_so(day):
            break
        kept.insert(0, day)
    return kept


def _unpublished_since(facts: Facts, so_far: list[Judged], done: list[Visit]) -> date | None:
    """The first day without a published session, where there were some before, and somebody to train."""
    start = facts.days_before(facts.judged_at, UNPUBLISHED_DAYS)
    is_enrolled = any(stay.is_in_the_programme_at(facts.judged_at) for stay in facts.stays)
    has_begun = facts.has_begun_before or bool(so_far)
    if start < facts.starts_at or not is_enrolled or not has_begun:
        return None
    published = [one.visit for one in so_far]
    if any(visit.starts_at >= start for visit in (*published, *done)):
        return None
    last = max((visit.starts_at for visit in published), default=None)
    return facts.day_of(facts.starts_at) if last is None else facts.day_of(last) + timedelta(days=1)


def _last_day(facts: Facts, moments: list[datetime]) -> str | None:
    return facts.day_of(max(moments)).isoformat() if moments else None


def _words(day: date) -> str:
    """`Tue 10 Nov`."""
    return f"{day:%a} {day.day} {day:%b}"
