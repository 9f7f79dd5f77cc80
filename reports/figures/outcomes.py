"""What became of each published session: whether it counts in attendance, and as what."""

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Any

from program.rules.reasons import CLASS_OF, OUR_SIDE
from program.rules.states import State
from reports.figures.facts import Facts, Reason, Visit

# Withdrawals through these are nobody's missed session (design 4.7).
NOBODYS = frozenset({"hold", "hospital", "out", "left the building", "agreement withdrawn", "closed"})
CLASSES = ("resident", "clinical", "our side")
WITHOUT_A_WORD = "no reason written"
SECONDS_AN_HOUR = 3600


class Outcome(StrEnum):
    DONE = "done"
    MISSED = "missed"
    NOT_RECORDED = "not recorded"
    WITHDRAWN = "withdrawn"
    OPEN = "open"


COUNTED = (Outcome.DONE, Outcome.MISSED, Outcome.NOT_RECORDED)


@dataclass(frozen=True, slots=True)
class Judged:
    """A published session and what became of it; `why` where it was missed or withdrawn."""

    visit: Visit
    outcome: Outcome
    why: Reason | None = None

    @property
    def is_counted(self) -> bool:
        return self.outcome in COUNTED


def judged(facts: Facts) -> list[Judged]:
    """The published sessions of the period, in order of time."""
    published = sorted((visit for visit in facts.visits if visit.is_published), key=lambda visit: visit.starts_at)
    return [_judged(facts, visit) for visit in published]


def _judged(facts: Facts, visit: Visit) -> Judged:
    state = visit.state_at(facts.as_of)
    if state is State.DONE:
        return Judged(visit, Outcome.DONE)
    if state is State.WITHDRAWN and _is_excused(facts, visit):
        return Judged(visit, Outcome.WITHDRAWN, visit.latest("withdrawn"))
    if facts.as_of < visit.day_closes_at:
        return Judged(visit, Outcome.OPEN)
    if state is State.NOT_RECORDED:
        return Judged(visit, Outcome.NOT_RECORDED)
    return Judged(visit, Outcome.MISSED, _why_missed(visit, state))


def _is_excused(facts: Facts, visit: Visit) -> bool:
    return is_before_the_day(facts, visit) or is_nobodys(facts, visit)


def is_before_the_day(facts: Facts, visit: Visit) -> bool:
    withdrawn_at = visit.happened.withdrawn_at
    return withdrawn_at is not None and withdrawn_at < facts.midnight_before(visit.starts_at)


def is_nobodys(facts: Facts, visit: Visit) -> bool:
    """Withdrawn through a hold, an absence, leaving, a withdrawn agreement or a closure."""
    why, stay = visit.latest("withdrawn"), facts.stay_of.get(visit.resident)
    if why is None:
        return False
    # A hold gives its own reason, such as pain, to what it takes off the plan.
    return why.reason in NOBODYS or any(
        pause.set_at <= why.happened_at and pause.touches(visit.starts_at, visit.day_closes_at)
        for pause in (stay.pauses if stay else ())
    )


def _why_missed(visit: Visit, state: State) -> Reason | None:
    if state is State.WITHDRAWN:
        return visit.latest("withdrawn")
    return visit.latest("given up") or visit.latest("attempt") or visit.latest("ended")


def missed_by_reason(sessions: list[Judged]) -> dict[str, Any]:
    """`missed` by class, and `reasons` by how many sessions each has cost."""
    classes: Counter[str] = Counter()
    reasons: Counter[tuple[str, str]] = Counter()
    for one in sessions:
        if one.outcome is Outcome.MISSED:
            reason = one.why.reason if one.why else WITHOUT_A_WORD
            reason_class = (one.why.reason_class if one.why else "") or CLASS_OF.get(reason, OUR_SIDE)
            classes[reason_class] += 1
            reasons[reason, reason_class] += 1
    by_sessions = sorted(reasons.items(), key=lambda row: (-row[1], row[0]))
    return {
        "missed": {name: classes[name] for name in CLASSES},
        "reasons": [
            {"reason": reason, "class": reason_class, "sessions": count}
            for (reason, reason_class), count in by_sessions
        ],
    }


def withdrawals(facts: Facts, sessions: list[Judged]) -> dict[str, Any]:
    """Each excused withdrawal once, and how long before the start all withdrawals came (hours, median)."""
    excused = [one.visit for one in sessions if one.outcome is Outcome.WITHDRAWN]
    through = sum(is_nobodys(facts, visit) for visit in excused)
    notices = [
        (one.visit.starts_at - one.why.happened_at).total_seconds() / SECONDS_AN_HOUR
        for one in sessions
        if one.why and one.why.kind == "withdrawn"
    ]
    return {
        "before_the_day": len(excused) - through,
        "through_hold_absence_leaving_closure": through,
        "notice_hours_median": round(median(notices), 1) if notices else None,
    }
