"""Who was in the programme on which days, what that prescribes, and who was reached."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from program.rules.week import local_instant
from reports.figures.attendance import rounded
from reports.figures.facts import Facts, Stay
from reports.statistics import share

DAYS_A_WEEK = 7
# By the share of one member of staff at the stations, in sixths.
HELP_WORDS = {2: "one helps three", 3: "one helps two", 6: "one-to-one", 12: "two staff"}


@dataclass(frozen=True, slots=True)
class InProgramme:
    """How many days one resident was in the programme, and the sessions a week summed over those days."""

    stay: Stay
    days: int
    prescribed_sevenths: int


def in_programme(facts: Facts) -> list[InProgramme]:
    """Those with a day at all. A day counts by its end, local midnight; one that is not over does not count."""
    ends = [local_instant(day + timedelta(days=1), 0, facts.zone) for day in facts.period.days]
    over = [end for end in ends if end <= facts.as_of]
    counted = []
    for stay in facts.stays:
        days = [end for end in over if stay.is_in_the_programme_at(end)]
        if days:
            counted.append(InProgramme(stay, len(days), sum(stay.sessions_a_week_at(end) for end in days)))
    return counted


def completion(facts: Facts, counted: list[InProgramme]) -> dict[str, Any]:
    """Done of prescribed, planned or not; may pass 1, and carries no interval."""
    done = sum(visit.is_done for visit in facts.visits)
    sevenths = sum(one.prescribed_sevenths for one in counted)
    return {
        "done": done,
        "prescribed": round(sevenths / DAYS_A_WEEK, 2),
        "ratio": rounded(share(done * DAYS_A_WEEK, sevenths)),
    }


def reached(facts: Facts, counted: list[InProgramme]) -> list[dict[str, Any]]:
    """By help level: how many were in the programme, and how many of them had at least one session."""
    trained = {visit.resident for visit in facts.visits if visit.is_done}
    levels = sorted({one.stay.help_sixths for one in counted})
    rows = []
    for sixths in levels:
        keys = [one.stay.key for one in counted if one.stay.help_sixths == sixths]
        rows.append(
            {
                "help_sixths": sixths,
                "words": HELP_WORDS.get(sixths, f"{sixths} sixths of one member of staff"),
                "residents": len(keys),
                "with_session": len(trained & set(keys)),
            }
        )
    return rows


def residents(counted: list[InProgramme]) -> dict[str, int]:
    return {"in_the_programme": len(counted), "days": sum(one.days for one in counted)}
