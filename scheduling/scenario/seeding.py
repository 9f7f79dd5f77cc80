"""One invented building, from its workbook to this minute: months of work in one transaction."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from time import monotonic

from django.db import connection

from program import clock
from program.actions.imports import apply_import, judge_file
from program.models import Building, Session, User
from program.models.scoped import scope
from program.rules.errors import Refused
from program.rules.week import Week, local_instant
from scheduling.actions import fill_roster, publish_roster, start_roster
from scheduling.models import Roster
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
MORNING, NOON = 8 * 60, 12 * 60


@dataclass(slots=True)
class Seeded:
    """A building that was made: what is in it, and how many seconds each part took."""

    name: str
    residents: int = 0
    sessions: Counter[str] = field(default_factory=Counter)
    unplaced: int = 0
    seconds: Counter[str] = field(default_factory=Counter)


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
        self.seeded.seconds[self.part] += monotonic() - self.began  # type: ignore[assignment]
