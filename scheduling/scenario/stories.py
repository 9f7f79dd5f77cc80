"""What the twelve weeks of each invented building tell; pure facts, in days and weeks before the demo is seen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

# Those who declined five times as often as those whom nobody brought, and so on.
USUAL_REASONS = (
    *("declined",) * 5,
    *("asleep",) * 3,
    *("unwell",) * 3,
    *("visitors",) * 2,
    *("out", "pain", "no staff", "not brought", "ran late"),
)


@dataclass(frozen=True, slots=True)
class Chances:
    """How many of all visits go otherwise than planned, as shares of one."""

    given_up: float = 0.055
    attempted: float = 0.015
    begun_late: float = 0.04
    stopped_early: float = 0.03
    forgotten: float = 0.01
    entered_next_day: float = 0.015


@dataclass(frozen=True, slots=True)
class WarningSign:
    """What was seen at the first visit from a day on; `released_after` days the hold ended, and never if None."""

    days_ago: int
    sign: str
    note: str
    released_after: int | None = None


@dataclass(frozen=True, slots=True)
class Story:
    """What sets a building apart.

    `planned_anew` are the weeks, before this one, for which a roster was built; the others kept the times that people
    were used to.
    """

    chances: Chances = Chances()
    reasons: Sequence[str] = USUAL_REASONS
    planned_anew: frozenset[int] = frozenset({11, 7, 3, 1, 0})
    short_of_staff_weeks: int = 0
    unrecorded_days: int = 0
    standstill_days: int = 0
    outbreak_weeks_ago: int = 0
    refusing: int = 0
    untrained: int = 0
    warning_signs: Sequence[WarningSign] = ()
    trains_too_soon: bool = False


# Three in a row at two sessions a week take no longer; longer than any building's limit for an overdue resident.
REFUSING_DAYS, UNTRAINED_DAYS = 13, 8
# What a missing aide costs while the others still follow the old plan, and later.
UNMANNED = 0.16
OUTBREAK_DAYS = 10

STORIES: Mapping[str, Story] = {
    "Arrowfen House": Story(
        chances=Chances(entered_next_day=0.05),
        warning_signs=(
            WarningSign(19, "dizziness", "pale after the second station, better lying down", released_after=3),
            WarningSign(2, "near-faint", "had to be held while getting up, did not fall"),
        ),
        trains_too_soon=True,
    ),
    "Brindlewharf": Story(planned_anew=frozenset({11, 7, 3, 2, 0}), short_of_staff_weeks=3),
    "Coppermere": Story(unrecorded_days=9),
    "Dunlarch": Story(refusing=2, untrained=1),
    "Eversedge": Story(outbreak_weeks_ago=5),
    "Fennimoor": Story(standstill_days=10),
}
