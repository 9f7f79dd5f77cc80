"""What goes otherwise than planned in an invented building: people away, exercise holds, a station out of order."""

from datetime import timedelta
from functools import partial

from program import clock
from program.actions.places import close
from program.actions.safety import end_hold, set_hold
from program.models import Hold, Resident
from scheduling.scenario.cast import Cast, Timeline

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
# In so many weeks before this one somebody was unwell for a while, and somebody in hospital.
UNWELL_WEEKS, HOSPITAL_WEEKS = (10, 8, 6, 5, 3, 2), (9, 7, 4)
MORNING = 8 * 60 + 20


def plan_incidents(cast: Cast, timeline: Timeline) -> None:
    """Put them on the timeline, so that each kind can be seen when the demo is."""
    told = list(cast.residents)
    cast.plan.dice("incidents").shuffle(told)
    now, aide = cast.until, cast.aides[-1]
    leave, hospital, returned, unwell, *others = told
    timeline.add(now - DAY - HOUR, aide, partial(_away, cast, leave, "leave", lasts=6 * DAY))
    timeline.add(now - 6 * DAY, aide, partial(_away, cast, hospital, "hospital"))
    timeline.add(now - 9 * DAY, aide, partial(_away, cast, returned, "hospital"))
    timeline.add(now - 2 * DAY, aide, partial(_come_back, cast, returned))
    timeline.add(now - 3 * DAY, cast.clinician, partial(_hold, cast, unwell))
    _plan_earlier_ones(cast, timeline, others)
    if cast.plan.has_broken_station:
        timeline.add(now - DAY, aide, partial(break_station, cast, -2, "the bench tilts, a repair is ordered"))
    if cast.plan.closes_next_week:
        timeline.add(now - 4 * DAY, cast.coordinator, partial(_close_next_week, cast))


def _plan_earlier_ones(cast: Cast, timeline: Timeline, others: list[Resident]) -> None:
    dice = cast.plan.dice("earlier incidents")
    for weeks in UNWELL_WEEKS:
        resident, monday = others.pop(), cast.week_ago(weeks).monday
        since = cast.at(monday + timedelta(days=dice.randint(0, 4)), MORNING)
        timeline.add(since, cast.clinician, partial(_hold, cast, resident))
        timeline.add(since + dice.randint(2, 6) * DAY, cast.clinician, partial(release, cast, resident))
    for weeks in HOSPITAL_WEEKS:
        resident, monday = others.pop(), cast.week_ago(weeks).monday
        since = cast.at(monday + timedelta(days=dice.randint(0, 4)), MORNING)
        back_at = since + dice.randint(3, 8) * DAY
        timeline.add(since, cast.aides[-1], partial(_away, cast, resident, "hospital"))
        timeline.add(back_at, cast.aides[-1], partial(_come_back, cast, resident))
        timeline.add(back_at + DAY + HOUR, cast.clinician, partial(release, cast, resident))


def _away(cast: Cast, resident: Resident, reason: str, lasts: timedelta | None = None) -> None:
    now = clock.now()
    ends_at = now + lasts if lasts else None
    set_hold(resident=resident, kind=Hold.Kind.AWAY, reason=reason, starts_at=now, ends_at=ends_at, by=cast.aides[-1])


def _come_back(cast: Cast, resident: Resident) -> None:
    for away in _lasting(cast, resident, Hold.Kind.AWAY):
        end_hold(hold=away, by=cast.aides[-1], note="back this morning")


def _hold(cast: Cast, resident: Resident) -> None:
    set_hold(resident=resident, kind=Hold.Kind.CLINICAL, reason="unwell", starts_at=clock.now(), by=cast.clinician)


def release(cast: Cast, resident: Resident) -> None:
    for hold in _lasting(cast, resident, Hold.Kind.CLINICAL):
        end_hold(hold=hold, by=cast.clinician, note="seen and well again")


def _lasting(cast: Cast, resident: Resident, kind: str) -> list[Hold]:
    """None where it began before the service was there."""
    return list(Hold.objects.of(cast.building).filter(resident=resident, kind=kind, ends_at__isnull=True))


def break_station(cast: Cast, position: int, note: str) -> None:
    """Only one, so that most of a session can still be done."""
    station = cast.stations[position]
    moment = cast.out_of_order[station.pk] = clock.now()
    close(
        building=cast.building,
        station=station,
        reason="out of order",
        starts_at=moment,
        note=note,
        by=cast.aides[-1],
    )


def _close_next_week(cast: Cast) -> None:
    """A holiday on Friday of next week."""
    friday = cast.week_ago(-1).monday + timedelta(days=4)
    close(
        building=cast.building,
        reason="holiday",
        starts_at=cast.at(friday, 0),
        ends_at=cast.at(friday + timedelta(days=1), 0),
        note="summer and winter party of the house",
        by=cast.coordinator,
    )
