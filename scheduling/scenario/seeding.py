"""One invented building, from its workbook to this minute: months of work in one transaction."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from time import monotonic
from zoneinfo import ZoneInfo

from django.db import connection

from program import clock
from program.actions.imports import apply_import, judge_file
from program.models import Building, Session, User
from program.models.scoped import scope, set_scope
from program.rules.errors import Refused
from program.rules.week import Week, local_instant
from scheduling.actions import fill_roster, publish_roster, start_roster
from scheduling.models import Roster
from scheduling.problem import read_roster
from scheduling.scenario.buildings import BUILDINGS, BuildingPlan
from scheduling.scenario.calendars import fill_calendars
from scheduling.scenario.cast import Cast, Timeline, cast_of
from scheduling.scenario.incidents import plan_incidents
from scheduling.scenario.organisation import ADMINISTRATOR, SEEDING
from scheduling.scenario.recording import happen
from scheduling.scenario.residents import move_in
from scheduling.scenario.workbook import building_workbook

WEEKS_OF_HISTORY = 1
SOLVER_SECONDS = 5
# Weeks are set up from the Wednesday, and built on the Friday, before they begin.
SET_UP_BEFORE, BUILT_BEFORE = timedelta(days=5), timedelta(days=3)
NOON = 12 * 60


@dataclass(slots=True)
class Seeded:
    """A building that was made: what is in it, and how many seconds each part took."""

    name: str
    residents: int = 0
    sessions: Counter[str] = field(default_factory=Counter)
    unplaced: int = 0
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))


def is_seeded() -> bool:
    return Building.objects.filter(name__in=[plan.name for plan in BUILDINGS]).count() == len(BUILDINGS)


def seed_building(
    plan: BuildingPlan, *, weeks_of_history: int = WEEKS_OF_HISTORY, seconds: int = SOLVER_SECONDS
) -> Seeded | None:
    """Make the building as it would stand now, all of it or nothing; None where it is there already.

    `seconds` is the most that the solver takes for a week.
    """
    now = clock.now()
    administrator = User.objects.get(username=ADMINISTRATOR)
    with scope([], user_id=administrator.pk, is_administration=True):
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [SEEDING, BUILDINGS.index(plan) + 1])
        if Building.objects.filter(name__iexact=plan.name).exists():
            return None
        seeded = Seeded(plan.name)
        cast = _set_up(plan, administrator, now, weeks_of_history, seeded)
        _live(cast, now, weeks_of_history, seconds, seeded)
        _count(cast, now, seeded)
    return seeded


class Timed:
    """Adds the seconds of its block to a part."""

    def __init__(self, seeded: Seeded, part: str) -> None:
        self.seeded, self.part = seeded, part

    def __enter__(self) -> None:
        self.began = monotonic()

    def __exit__(self, *_: object) -> None:
        self.seeded.seconds[self.part] += monotonic() - self.began


def _set_up(plan: BuildingPlan, administrator: User, now: datetime, weeks_of_history: int, seeded: Seeded) -> Cast:
    """The building from its workbook, residents and calendars, as of the Wednesday before its first week."""
    first = _first_week(plan, now, weeks_of_history)
    zone = ZoneInfo(plan.timezone)
    with clock.at(local_instant(first.monday - SET_UP_BEFORE, NOON, zone)):
        set_scope([], user_id=administrator.pk, is_administration=True)
        with Timed(seeded, "workbook"):
            content = building_workbook(plan, first_on=first.previous.monday)
            judged = judge_file(kind="building", content=content, file_name="building.xlsx", by=administrator)
            apply_import(imported=judged, by=administrator)
            cast = cast_of(plan, Building.objects.get(name=plan.name))
            # The workbook brings people without a password; all of the demo's people have the same.
            User.objects.filter(roles__building=cast.building).update(password=administrator.password)
        set_scope([cast.building.pk], user_id=cast.coordinator.pk)
        with Timed(seeded, "residents"):
            move_in(cast, today=now.astimezone(zone).date())
        with Timed(seeded, "calendars"):
            fill_calendars(cast, today=now.astimezone(zone).date())
    return cast


def _live(cast: Cast, now: datetime, weeks_of_history: int, seconds: int, seeded: Seeded) -> None:
    """Every week is built and published on the Friday before, and then happens, as far as now."""
    timeline = Timeline(cast.building)
    plan_incidents(cast, timeline, now)
    week = _first_week(cast.plan, now, weeks_of_history)
    for _ in range(weeks_of_history):
        friday = cast.at(week.monday - BUILT_BEFORE, NOON)
        timeline.add(friday, cast.coordinator, partial(_week, cast, timeline, week, now, seconds, seeded))
        week = week.next
    began = monotonic()
    timeline.play_until(now)
    seeded.seconds["days"] += monotonic() - began - seeded.seconds["rosters"]
    set_scope([cast.building.pk], user_id=cast.coordinator.pk)


def _week(cast: Cast, timeline: Timeline, week: Week, now: datetime, seconds: int, seeded: Seeded) -> None:
    with Timed(seeded, "rosters"):
        roster = start_roster(building=cast.building, week=week, by=cast.coordinator, seconds=seconds)
        fill_roster(roster_id=roster.pk, building_id=cast.building.pk)
        # Building has scopes of its own, which say nobody's name.
        set_scope([cast.building.pk], user_id=cast.coordinator.pk)
        roster.refresh_from_db()
        _publish(cast, roster)
    seeded.unplaced = sum(one.missing for one in read_roster(roster.answer or {}).unplaced)
    happen(cast, timeline, week, until=now)


def _publish(cast: Cast, roster: Roster) -> None:
    """What somebody has come between is left out, as a coordinator would."""
    try:
        publish_roster(roster=roster, by=cast.coordinator)
    except Refused as refusal:
        clashes = [clash["session"] for clash in refusal.details["clashes"]]
        roster.refresh_from_db()
        publish_roster(roster=roster, by=cast.coordinator, without=clashes)


def _first_week(plan: BuildingPlan, now: datetime, weeks_of_history: int) -> Week:
    this_week = Week.of(now, ZoneInfo(plan.timezone))
    return Week(this_week.monday - timedelta(weeks=weeks_of_history - 1))


def _count(cast: Cast, now: datetime, seeded: Seeded) -> None:
    seeded.residents = len(cast.residents)
    seeded.sessions.update(session.state_at(now).value for session in Session.objects.of(cast.building))
