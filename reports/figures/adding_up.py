"""All figures of one building over one period, in the shape that a report keeps."""

from collections import Counter
from datetime import datetime
from typing import Any

from program.rules.week import Week
from reports.figures.attendance import attendance
from reports.figures.facts import Closed, Facts, Visit
from reports.figures.outcomes import Judged, Outcome, judged, missed_by_reason, withdrawals
from reports.figures.programme import completion, in_programme, reached, residents
from reports.figures.recording import recording
from reports.figures.volume import volume

OUTBREAK = "outbreak"


def figures_of(facts: Facts) -> dict[str, Any]:
    """Counts, and shares from 0 to 1 or None where there is nothing to take a share of. Nothing in it is a name."""
    sessions, counted = judged(facts), in_programme(facts)
    closures = [closure for closure in facts.closures if _touches_the_period(facts, closure)]
    return {
        "attendance": _attended(sessions),
        "completion": completion(facts, counted),
        **missed_by_reason(sessions),
        "withdrawn": withdrawals(facts, sessions),
        "unplanned": sum(visit.is_done and not visit.is_published for visit in facts.visits),
        "too_soon": sum(visit.is_done and visit.is_too_soon for visit in facts.visits),
        "late_starts": sum(_is_late(facts, visit) for visit in facts.visits),
        "stopped_early": sum(_is_stopped_early(visit) for visit in facts.visits),
        "late_entries": sum(visit.is_late_entry for visit in facts.visits),
        "volume": volume(sessions),
        "reached": reached(facts, counted),
        "recording": recording(facts, sessions),
        "weeks": _by_week(facts, sessions),
        "closures": [_closure_told(facts, closure) for closure in closures],
        # A closed unit leaves the rest of the building to be compared.
        "outbreak": any(closure.reason == OUTBREAK and closure.what == "building" for closure in closures),
        "residents": residents(counted),
    }


def _attended(sessions: list[Judged]) -> dict[str, Any]:
    outcomes = Counter(one.outcome for one in sessions if one.is_counted)
    return attendance(
        done=outcomes[Outcome.DONE], published=outcomes.total(), not_recorded=outcomes[Outcome.NOT_RECORDED]
    )


def _is_late(facts: Facts, visit: Visit) -> bool:
    started_at = visit.happened.started_at
    is_attended = visit.is_published and visit.is_done and started_at is not None
    return is_attended and started_at is not None and started_at > visit.starts_at + facts.grace


def _is_stopped_early(visit: Visit) -> bool:
    """Done with fewer sets than stations it was planned to have."""
    there = [line for line in visit.planned if line.station not in visit.left_out]
    return visit.is_published and 0 < visit.happened.sets_done < len(there)


def _by_week(facts: Facts, sessions: list[Judged]) -> list[dict[str, Any]]:
    """Each roster week that the period touches and that has begun, with the sessions of it that lie in the period."""
    weeks = sorted({Week.holding(day) for day in facts.period.days})
    begun = [week for week in weeks if week.starts_at(facts.zone) < facts.as_of]
    told = {week: Counter[Outcome]() for week in begun}
    for one in sessions:
        week = Week.of(one.visit.starts_at, facts.zone)
        if week in told:
            told[week][one.outcome] += 1
    return [_week_told(week, outcomes) for week, outcomes in told.items()]


def _week_told(week: Week, outcomes: Counter[Outcome]) -> dict[str, Any]:
    done, missed, silent = outcomes[Outcome.DONE], outcomes[Outcome.MISSED], outcomes[Outcome.NOT_RECORDED]
    return {
        "week": week.name,
        "done": done,
        "published": done + missed + silent,
        "not_recorded": silent,
        "missed": missed,
        "withdrawn": outcomes[Outcome.WITHDRAWN],
    }


def _touches_the_period(facts: Facts, closure: Closed) -> bool:
    return closure.starts_at < facts.judged_at and (closure.ends_at is None or closure.ends_at > facts.starts_at)


def _closure_told(facts: Facts, closure: Closed) -> dict[str, Any]:
    def day(moment: datetime | None) -> str | None:
        return None if moment is None else facts.day_of(moment).isoformat()

    return {
        "reason": closure.reason,
        "what": closure.what,
        "from": day(closure.starts_at),
        "until": day(closure.ends_at),
    }
