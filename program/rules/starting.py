"""Whether a session may be started now: safety alone decides, and everything that is missing is said."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from program.rules.states import State
from program.rules.week import date_and_time, day_and_time

# How whoever starts a session made sure that this is the right person.
IDENTIFIED_BY = ("said their name", "date of birth", "known by sight and photo")


@dataclass(frozen=True, slots=True)
class Missing:
    """A precondition that is not met: the rule, a sentence, and from when it would be met if that is known."""

    rule: str
    sentence: str
    allowed_from: datetime | None = None


@dataclass(frozen=True, slots=True)
class Stop:
    """A time in which the resident may not train: an exercise hold, an absence, a closure; open-ended with None."""

    rule: str
    text: str
    starts_at: datetime
    ends_at: datetime | None


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of a session and its resident; `recovered_at` is when they have recovered from what really was.

    `cleared` are first and last days of valid clearances, both counted; `is_elsewhere` while another session of the
    same person has been started and not ended.
    """

    name: str
    state: State
    starts_at: datetime
    started_at: datetime | None
    is_enrolled: bool
    agreed_on: date | None
    agreement_withdrawn_at: datetime | None
    since: datetime
    until: datetime | None
    cleared: Sequence[tuple[date, date]]
    stops: Sequence[Stop]
    recovered_at: datetime | None
    is_elsewhere: bool


def missing(facts: Facts, moment: datetime, zone: ZoneInfo) -> list[Missing]:
    """Everything that stands in the way of a start at `moment`, the plan first, then safety; empty if nothing does."""
    return [
        *_plan(facts, moment, zone),
        *_stay(facts, moment),
        *_clearance(facts, moment, zone),
        *_stops(facts, moment, zone),
        *_recovery(facts, moment, zone),
    ]


def _plan(facts: Facts, moment: datetime, zone: ZoneInfo) -> Iterator[Missing]:
    if facts.state is State.NOT_RECORDED:
        yield Missing("day closed", "Its day has closed. Write it down as a late entry.")
    elif facts.started_at is not None:
        yield Missing("started already", f"It was started at {facts.started_at.astimezone(zone):%H:%M} already.")
    elif facts.state is not State.PUBLISHED:
        yield Missing("not open", f"This session is {facts.state.value}. Book another one.")
    elif facts.starts_at.astimezone(zone).date() != moment.astimezone(zone).date():
        when = date_and_time(facts.starts_at, zone)
        yield Missing("another day", f"This session is planned for {when}. Have it moved to today first.")


def _stay(facts: Facts, moment: datetime) -> Iterator[Missing]:
    if moment < facts.since or (facts.until is not None and facts.until <= moment):
        yield Missing("not staying", f"{facts.name} does not stay here now.")
    if facts.agreement_withdrawn_at is not None and facts.agreement_withdrawn_at <= moment:
        yield Missing("no agreement", f"{facts.name} has withdrawn the agreement.")
    elif facts.agreed_on is None or not facts.is_enrolled:
        yield Missing("no agreement", f"{facts.name} has not agreed to the programme yet.")


def _clearance(facts: Facts, moment: datetime, zone: ZoneInfo) -> Iterator[Missing]:
    today = moment.astimezone(zone).date()
    if not any(first <= today <= last for first, last in facts.cleared):
        ended = max((last for _, last in facts.cleared if last < today), default=None)
        said = f"The clearance ended on {ended.day} {ended:%b %Y}" if ended else "There is no valid clearance"
        yield Missing("no clearance", f"{said}. A clinician must clear {facts.name} first.")


def _stops(facts: Facts, moment: datetime, zone: ZoneInfo) -> Iterator[Missing]:
    for stop in facts.stops:
        if stop.starts_at <= moment and (stop.ends_at is None or moment < stop.ends_at):
            until = f" until {date_and_time(stop.ends_at, zone)}" if stop.ends_at else ""
            yield Missing(stop.rule, f"{stop.text}{until}.", stop.ends_at)


def _recovery(facts: Facts, moment: datetime, zone: ZoneInfo) -> Iterator[Missing]:
    if facts.is_elsewhere:
        yield Missing("at the stations", f"{facts.name} is at the stations already, in another session.")
    if facts.recovered_at is not None and moment < facts.recovered_at:
        when = day_and_time(facts.recovered_at, zone)
        sentence = f"Too soon after the session before: {facts.name} may start from {when}."
        yield Missing("too soon", sentence, facts.recovered_at)
