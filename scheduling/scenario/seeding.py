"""One invented building, from its workbook to this minute: months of work in one transaction."""

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from time import monotonic
from zoneinfo import ZoneInfo

from django.db import connection

from program import clock
from program.actions.imports import apply_import, judge_file
from program.actions.locks import SEEDING
from program.models import Building, Session, User
from program.models.scoped import scope, set_scope
from program.rules.errors import Refused
from program.rules.week import Week, local_instant
from scheduling.actions import fill_roster, publish_roster, refresh_flags, start_roster
from scheduling.models import Roster
from scheduling.problem import read_roster
from scheduling.scenario.buildings import BUILDINGS, BuildingPlan
from scheduling.scenario.calendars import confirm_calendars, fill_calendars
from scheduling.scenario.cast import Cast, Timeline, cast_of
from scheduling.scenario.episodes import plan_episodes
from scheduling.scenario.incidents import plan_incidents
from scheduling.scenario.keeping import keep_times
from scheduling.scenario.organisation import ADMINISTRATOR
from scheduling.scenario.progress import change_loads
from scheduling.scenario.recording import happen
from scheduling.scenario.residents import A_YEAR, Newcomer, clear_all, enter, move_in, newcomers
from scheduling.scenario.second_factors import give_second_factors
from scheduling.scenario.workbook import building_workbook

# Eleven weeks behind this one.
WEEKS_OF_HISTORY = 12
SOLVER_SECONDS = 1
# Weeks are set up from the Wednesday, and built on the Friday, before they begin.
SET_UP_BEFORE, BUILT_BEFORE = timedelta(days=5), timedelta(days=3)
NOON, AFTERNOON = 12 * 60, 14 * 60
# Who lives here when the service comes, and who joins in the weeks before others are planned anew: by the share of
# everybody that is there then.
ON_THE_FIRST_DAY, JOINING = 0.7, ((10, 0.88), (8, 1.0))
CONFIRMED_DAYS_AGO = 12
TOLD_EVERY = 3

# Of the locks: two seeds of one building take turns over it.
NUMBERS = {plan.name: number for number, plan in enumerate(BUILDINGS, start=1)}

Tell = Callable[[str], None]


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
    plan: BuildingPlan,
    *,
    weeks_of_history: int = WEEKS_OF_HISTORY,
    seconds: int = SOLVER_SECONDS,
    tell: Tell = lambda _: None,
) -> Seeded | None:
    """Make the building as it would stand now, all of it or nothing; None where it is there already.

    `seconds` is the most that the solver takes for a week; `tell` hears how far it is, every few seconds.
    """
    now = clock.now()
    administrator = User.objects.get(username=ADMINISTRATOR)
    with scope([], user_id=administrator.pk, is_administration=True):
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [SEEDING, NUMBERS[plan.name]])
        if Building.objects.filter(name__iexact=plan.name).exists():
            return None
        seeding = Seeding(plan, administrator, now, weeks_of_history, seconds, tell)
        seeding.set_up()
        seeding.live()
        return seeding.counted()


class Timed:
    """Adds the seconds of its block to a part."""

    def __init__(self, seeded: Seeded, part: str) -> None:
        self.seeded, self.part = seeded, part

    def __enter__(self) -> None:
        self.began = monotonic()

    def __exit__(self, *_: object) -> None:
        self.seeded.seconds[self.part] += monotonic() - self.began


class Seeding:
    """One building while it is made: its weeks, its people, and what was published last."""

    cast: Cast
    newest: Roster

    def __init__(
        self, plan: BuildingPlan, administrator: User, now: datetime, weeks: int, seconds: int, tell: Tell
    ) -> None:
        self.plan, self.administrator, self.now = plan, administrator, now
        self.seconds, self.tell, self.zone = seconds, tell, ZoneInfo(plan.timezone)
        this_week = Week.of(now, self.zone)
        self.weeks = [Week(this_week.monday - timedelta(weeks=back)) for back in reversed(range(weeks))]
        self.seeded = Seeded(plan.name)
        people = newcomers(plan)
        # Where the weeks before are not told, everybody is there from the start.
        first = round(len(people) * ON_THE_FIRST_DAY) if weeks > JOINING[0][0] else len(people)
        self.first_people, self.later_people = people[:first], people[first:]

    def timed(self, part: str) -> Timed:
        return Timed(self.seeded, part)

    def set_up(self) -> None:
        """The building from its workbook, residents and calendars, as of the Wednesday before its first week."""
        plan, administrator = self.plan, self.administrator
        set_up_at = local_instant(self.weeks[0].monday - SET_UP_BEFORE, NOON, self.zone)
        with clock.at(set_up_at):
            set_scope([], user_id=administrator.pk, is_administration=True)
            with self.timed("workbook"):
                content = building_workbook(plan, first_on=self.weeks[0].previous.monday)
                judged = judge_file(kind="building", content=content, file_name="building.xlsx", by=administrator)
                apply_import(imported=judged, by=administrator)
                self.cast = cast_of(plan, Building.objects.get(name=plan.name), self.now)
                # The workbook brings people without a password; all of the demo's people have the same.
                User.objects.filter(roles__building=self.cast.building).update(password=administrator.password)
                give_second_factors(User.objects.filter(roles__building=self.cast.building))
            set_scope([self.cast.building.pk], user_id=self.cast.coordinator.pk)
            with self.timed("residents"):
                moved_in = move_in(self.cast, self.first_people, is_first_day=True)
                clear_all(self.cast, moved_in)
            with self.timed("calendars"):
                fill_calendars(self.cast, moved_in)
        self.tell(f"{plan.name}: {len(moved_in)} residents have moved in")
        self.timeline = Timeline(self.cast.building, since=set_up_at)

    def live(self) -> None:
        """Every week is planned and published on the Friday before, and then happens, as far as now."""
        cast, timeline = self.cast, self.timeline
        plan_incidents(cast, timeline)
        plan_episodes(cast, timeline)
        self._plan_joining()
        confirming = partial(confirm_calendars, cast)
        timeline.add(cast.days_ago(CONFIRMED_DAYS_AGO, AFTERNOON), cast.coordinator, confirming)
        for number, week in enumerate(self.weeks):
            timeline.add(cast.at(week.monday - BUILT_BEFORE, NOON), cast.coordinator, partial(self._week, number, week))
            timeline.add(
                cast.at(week.monday + timedelta(days=3), AFTERNOON), cast.clinician, partial(change_loads, cast, week)
            )
        others = sum(self.seeded.seconds.values())
        began = monotonic()
        timeline.play_until(self.now)
        parts = sum(self.seeded.seconds.values()) - others
        self.seeded.seconds["days"] += monotonic() - began - parts
        set_scope([cast.building.pk], user_id=cast.coordinator.pk)
        with self.timed("flags"):
            refresh_flags(building_ids=[cast.building.pk])

    def _plan_joining(self) -> None:
        there = len(self.first_people)
        for weeks_ago, share in JOINING:
            joining = self.later_people[: round(self.plan.residents * share) - there]
            self.later_people = self.later_people[len(joining) :]
            there += len(joining)
            tuesday = self.cast.week_ago(weeks_ago).monday + timedelta(days=1)
            for half, day in ((joining[::2], tuesday), (joining[1::2], tuesday + timedelta(days=1))):
                moment = self.cast.at(day, AFTERNOON)
                self.timeline.add(moment, self.cast.coordinator, partial(self._join, half))

    def _join(self, people: Sequence[Newcomer]) -> None:
        with self.timed("residents"):
            moved_in = move_in(self.cast, people, is_first_day=False)
            enter(self.cast, moved_in, self.cast.today + timedelta(days=A_YEAR))
            fill_calendars(self.cast, moved_in)

    def _week(self, number: int, week: Week) -> None:
        is_anew = number == 0 or len(self.weeks) - 1 - number in self.cast.story.planned_anew
        if is_anew:
            with self.timed("rosters"):
                self._build(week)
        else:
            with self.timed("weeks kept"):
                keep_times(self.cast, self.newest, week)
        happen(self.cast, self.timeline, week)
        if number % TOLD_EVERY == 0:
            self.tell(f"{self.plan.name}: on to the week of {week.monday.day} {week.monday:%B}")

    def _build(self, week: Week) -> None:
        cast = self.cast
        roster = start_roster(building=cast.building, week=week, by=cast.coordinator, seconds=self.seconds)
        fill_roster(roster_id=roster.pk, building_id=cast.building.pk)
        # Building has scopes of its own, which say nobody's name.
        set_scope([cast.building.pk], user_id=cast.coordinator.pk)
        roster.refresh_from_db()
        _publish(cast, roster)
        self.newest = roster
        self.seeded.unplaced = sum(one.missing for one in read_roster(roster.answer or {}).unplaced)

    def counted(self) -> Seeded:
        self.seeded.residents = len(self.cast.residents)
        sessions = Session.objects.of(self.cast.building)
        self.seeded.sessions.update(session.state_at(self.now).value for session in sessions)
        return self.seeded


def _publish(cast: Cast, roster: Roster) -> None:
    """What somebody has come between is left out, as a coordinator would."""
    try:
        publish_roster(roster=roster, by=cast.coordinator)
    except Refused as refusal:
        clashes = [clash["session"] for clash in refusal.details["clashes"]]
        roster.refresh_from_db()
        publish_roster(roster=roster, by=cast.coordinator, without=clashes)
