"""A building of the demo while it is made: its rows, its people, and the clock that is walked through its weeks."""

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import count

from program import clock
from program.models import Building, Resident, Role, Station, Unit, User
from program.models.scoped import set_scope
from program.rules.week import Week, local_instant
from scheduling.scenario.buildings import BuildingPlan


@dataclass(slots=True)
class Cast:
    """Who and what is there; `out_of_order` says from when a station, by its id, cannot be used."""

    plan: BuildingPlan
    building: Building
    coordinator: User
    clinician: User
    aides: list[User]
    units: list[Unit]
    stations: list[Station]
    residents: list[Resident] = field(default_factory=list)
    out_of_order: dict[int, datetime] = field(default_factory=dict)

    @property
    def today(self) -> date:
        return clock.now().astimezone(self.building.zone).date()

    @property
    def this_week(self) -> Week:
        return Week.holding(self.today)

    def at(self, day: date, minute: int) -> datetime:
        """An instant by the building's wall clock, in minutes after midnight."""
        return local_instant(day, minute, self.building.zone)


def cast_of(plan: BuildingPlan, building: Building) -> Cast:
    people = {
        kind: list(User.objects.filter(roles__building=building, roles__kind=kind).order_by("username"))
        for kind in Role.IN_CARE
    }
    return Cast(
        plan=plan,
        building=building,
        coordinator=people[Role.Kind.COORDINATOR][0],
        clinician=people[Role.Kind.CLINICIAN][0],
        aides=people[Role.Kind.STAFF],
        units=list(Unit.objects.of(building).order_by("pk")),
        stations=list(Station.objects.of(building)),
    )


class Timeline:
    """What happens in one building, in the order in which it happens, each at its own moment of the clock."""

    def __init__(self, building: Building) -> None:
        self.building = building
        self._ahead: list[tuple[datetime, int, User, Callable[[], object]]] = []
        # Of two things at one moment the one that was added first comes first.
        self._numbers = count()

    def add(self, moment: datetime, by: User, action: Callable[[], object]) -> None:
        heapq.heappush(self._ahead, (moment, next(self._numbers), by, action))

    def play_until(self, until: datetime) -> None:
        """Do everything up to `until`, what is added meanwhile as well; what is later never happens."""
        while self._ahead and self._ahead[0][0] <= until:
            moment, _, by, action = heapq.heappop(self._ahead)
            with clock.at(moment):
                # The trail writes down the moment of the scope, so each has one of its own.
                set_scope([self.building.pk], user_id=by.pk)
                action()
