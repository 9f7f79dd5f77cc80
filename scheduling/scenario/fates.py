"""How each published visit goes: as a rule as planned, else for a reason that the building's story believes."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from random import Random

from program.models import Record, Session
from scheduling.scenario.cast import Cast
from scheduling.scenario.stories import REFUSING_DAYS, UNMANNED, UNTRAINED_DAYS, WarningSign

WRITTEN_DOWN = timedelta(minutes=2)
DELAYS = (0, 0, 1, 1, 2, 3, 5)
# Later than any building's grace, and soon enough for the next visit.
LATE_MINUTES = (42, 56)


@dataclass(frozen=True, slots=True)
class Visit:
    """How one session goes: begun when, as long as planned or fewer stations, or not at all, with the reason."""

    session_id: int
    dice: Random
    began_at: datetime
    planned: timedelta
    instead: str = ""
    reason: str = ""
    stations: int | None = None
    is_entered_next_day: bool = False
    sign: WarningSign | None = None

    @property
    def written_at(self) -> datetime:
        """When all of it can be written down."""
        return self.began_at + (timedelta(0) if self.instead else self.planned) + WRITTEN_DOWN


def fate_of(cast: Cast, session: Session) -> Visit | None:
    """The same for the same resident and moment, whatever else happens; None when nobody writes anything."""
    dice = cast.plan.dice(f"{session.resident.key} {session.starts_at.isoformat()}")
    began_at = session.starts_at + timedelta(minutes=dice.choice(DELAYS))
    visit = Visit(session.pk, dice, began_at, session.ends_at - session.starts_at)
    if _lies_within(cast, session, cast.story.unrecorded_days):
        return None
    if reason := _reason_of_the_story(cast, session, dice):
        return replace(visit, instead=Record.Kind.GIVEN_UP, reason=reason)
    return _by_chance(cast, visit, dice.random())


def cut_short_by_a_sign(cast: Cast, visit: Visit) -> Visit:
    """The first visit that takes place on or after the day of the next warning sign ends with it."""
    if not cast.signs or visit.instead or visit.is_entered_next_day:
        return visit
    if visit.began_at < cast.at(cast.open_days_ago(cast.signs[0].days_ago), 0):
        return visit
    return replace(visit, stations=2, reason="", sign=cast.signs.pop(0))


def _by_chance(cast: Cast, visit: Visit, throw: float) -> Visit | None:
    chances, dice = cast.story.chances, visit.dice
    late = timedelta(minutes=dice.randint(*LATE_MINUTES))
    fates = (
        (chances.given_up, {"instead": Record.Kind.GIVEN_UP, "reason": dice.choice(cast.story.reasons)}),
        (chances.attempted, {"instead": Record.Kind.ATTEMPT, "reason": dice.choice(("asleep", "declined", "out"))}),
        (chances.begun_late, {"began_at": visit.began_at + late}),
        (chances.stopped_early, {"stations": dice.randint(1, 2), "reason": "enough for today"}),
        (chances.entered_next_day, {"is_entered_next_day": True}),
    )
    if throw > 1 - chances.forgotten:
        return None
    for chance, fate in fates:
        if throw < chance:
            return replace(visit, **fate)
        throw -= chance
    return visit


def _reason_of_the_story(cast: Cast, session: Session, dice: Random) -> str:
    """Why this visit does not happen in this building; empty if the story knows no reason."""
    story = cast.story
    if _lies_within(cast, session, story.standstill_days):
        return dice.choice(("no staff", "no staff", "station out of order"))
    if session.resident_id in cast.refusing and _lies_within(cast, session, REFUSING_DAYS):
        return "declined"
    if session.resident_id in cast.untrained and _lies_within(cast, session, UNTRAINED_DAYS):
        return dice.choice(("asleep", "visitors"))
    if story.short_of_staff_weeks:
        short_since = cast.week_ago(story.short_of_staff_weeks).starts_at(cast.building.zone)
        if session.starts_at >= short_since and dice.random() < UNMANNED:
            return "no staff"
    return ""


def _lies_within(cast: Cast, session: Session, days: int) -> bool:
    return bool(days) and session.starts_at >= cast.days_ago(days)
