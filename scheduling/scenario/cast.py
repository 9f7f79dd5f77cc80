"""A building of the demo while it is made: its rows, its people, and the clock that is walked through its weeks."""

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import count

from program import clock
from program.models import Building, PrescriptionLine, Resident, Role, Station, Unit, User
from program.models.scoped import set_scope
from program.rules.week import Week, local_instant
from scheduling.scenario.buildings import WEEKDAYS, BuildingPlan
from scheduling.scenario.stories import STORIES, Story, WarningSign


@dataclass(slots=True)
class Cast:
    """Who and what is there, and until when it is told.

    `out_of_order` says from when a station, by its id, cannot be used; `lines` are what was read of exercise plans, by
    plan and station; `refusing` and `untrained` are those of whom the building's story tells, `signs` what is to come.
    """

    plan: BuildingPlan
    until: datetime
    building: Building
    coordinator: User
    clinician: User
    aides: list[User]
    units: list[Unit]
    stations: list[Station]
    residents: list[Resident] = field(default_factory=list)
    out_of_order: dict[int, datetime] = field(default_factory=dict)
    lines: dict[int, dict[int, PrescriptionLine]] = field(default_factory=dict)
    refusing: frozenset[int] = frozenset()
    untrained: frozenset[int] = frozenset()
    signs: list[WarningSign] = field(default_factory=list)

    @property
    def story(self) -> Story:
        return STORIES[self.plan.name]

    @property
    def today(self) -> date:
        return clock.now().astimezone(self.building.zone).date()

    @property
    def last_day(self) -> date:
        """The day on which the demo is seen."""
        return self.until.astimezone(self.building.zone).date()

    def station(self, key: int) -> Station:
        return next(station for station in self.stations if station.pk == key)

    def days_ago(self, days: int, minute: int = 0) -> datetime:
        """An instant of the day that lies so many days before the one on which the demo is seen."""
        return self.at(self.last_day - timedelta(days=days), minute)

    def open_days_ago(self, days: int) -> date:
        """That day, or the last before it on which the building opens."""
        opens = {weekday for period in self.plan.open for weekday in period.weekdays}
        day = self.last_day - timedelta(days=days)
        while WEEKDAYS[day.weekday()] not in opens:
            day -= timedelta(days=1)
        return day

    def week_ago(self, weeks: int) -> Week:
        return Week(Week.holding(self.last_day).monday - timedelta(weeks=weeks))

    def at(self, day: date, minute: int) -> datetime:
        """An instant by the building's wall clock, in minutes after midnight."""
        return local_instant(day, minute, self.building.zone)


def cast_of(plan: BuildingPlan, building: Building, until: datetime) -> Cast:
    people = {
        kind: list(User.objects.filter(roles__building=building, roles__kind=kind).order_by("username"))
        for kind in Role.IN_CARE
    }
    return Cast(
        plan=plan,
        until=until,
        building=building,
        coordinator=people[Role.Kind.COORDINATOR][0],
        clinician=people[Role.Kind.CLINICIAN][0],
        aides=people[Role.Kind.STAFF],
        units=list(Unit.objects.of(building).order_by("pk")),
        stations=list(Station.objects.of(building)),
    )


class Timeline:
    """What happens in one building, in the order in which it happens, each at its own moment of the clock.

    What would have happened before `since` is left out: the service was not there yet.
    """

    def __init__(self, building: Building, since: datetime) -> None:
        self.building, self.since = building, since
        self._ahead: list[tuple[datetime, int, User, Callable[[], object]]] = []
        # Of two things at one moment the one that was added first comes first.
        self._numbers = count()

    def add(self, moment: datetime, by: User, action: Callable[[], object]) -> None:
        if moment >= self.since:
            heapq.heappush(self._ahead, (moment, next(self._numbers), by, action))

    def play_until(self, until: datetime) -> None:
        """Do everything up to `until`, what is added meanwhile as well; what is later never happens."""
        while self._ahead and self._ahead[0][0] <= until:
            moment, _, by, action = heapq.heappop(self._ahead)
            with clock.at(moment):
                # The trail writes down the moment of the scope, so each has one of its own.
                set_scope([self.building.pk], user_id=by.pk)
                action()
