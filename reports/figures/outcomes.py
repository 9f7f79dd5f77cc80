"""What became of each published session: whether it counts in attendance, and as what."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Any

from program.rules.reasons import CLASS_OF, CLINICAL, OUR_SIDE
from program.rules.states import State
from reports.figures.facts import Facts, Pause, Reason, Visit

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
    return _all_judged(facts, facts.visits)


def judged_before(facts: Facts) -> list[Judged]:
    """Those of the weeks before it, as they stood at the same moment."""
    return _all_judged(facts, facts.earlier)


def _all_judged(facts: Facts, visits: Iterable[Visit]) -> list[Judged]:
    published = sorted((visit for visit in visits if visit.is_published), key=lambda visit: visit.starts_at)
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
    why = visit.latest("withdrawn")
    if why is None:
        return False
    # On a day that is over the word alone says nothing: what it names must lie over the session.
    if why.happened_at >= visit.day_closes_at:
        return _is_covered(facts, visit)
    return why.reason in NOBODYS or any(_took_off(pause, visit, why) for pause in facts.pauses_of(visit.resident))


def _took_off(pause: Pause, visit: Visit, why: Reason) -> bool:
    """A hold gives its own reason, such as pain, to what it takes off the plan, also where it is released sooner."""
    lay_over_it = pause.touches(visit.starts_at, visit.day_closes_at)
    was_clinical = why.reason_class == CLINICAL and pause.holds_at(why.happened_at)
    return pause.set_at <= why.happened_at and (lay_over_it or was_clinical)


def _is_covered(facts: Facts, visit: Visit) -> bool:
    """Whether a hold, an absence, a closure, leaving or a withdrawn agreement lies over the session itself."""
    stay = facts.stay_of.get(visit.resident)
    left = (stay.until, stay.agreement_withdrawn_at) if stay else ()
    return (
        any(moment is not None and moment < visit.ends_at for moment in left)
        or any(pause.touches(visit.starts_at, visit.ends_at) for pause in facts.pauses_of(visit.resident))
        or any(closed.touches(visit.starts_at, visit.ends_at) for closed in facts.closures_of(visit.resident))
    )


def _why_missed(visit: Visit, state: State) -> Reason | None:
    if state is State.WITHDRAWN:
        return visit.latest("withdrawn")
    # Whoever slept at first and was begun with later did not train for the reason of the end.
    kinds = ("ended", "given up", "attempt") if state is State.ENDED_WITHOUT_A_SET else ("given up", "attempt")
    return next((why for kind in kinds if (why := visit.latest(kind))), None)


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
    """Each excused withdrawal once, and how long before the start those came that came before it (hours, median)."""
    excused = [one.visit for one in sessions if one.outcome is Outcome.WITHDRAWN]
    through = sum(is_nobodys(facts, visit) for visit in excused)
    notices = [
        (one.visit.starts_at - one.why.happened_at).total_seconds() / SECONDS_AN_HOUR
        for one in sessions
        if one.why and one.why.kind == "withdrawn" and one.why.happened_at < one.visit.starts_at
    ]
    return {
        "before_the_day": len(excused) - through,
        "through_hold_absence_leaving_closure": through,
        "notice_hours_median": round(median(notices), 1) if notices else None,
    }
