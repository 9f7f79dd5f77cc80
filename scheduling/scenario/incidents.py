"""What goes otherwise than planned in an invented building: people away, exercise holds, a station out of order."""

from datetime import datetime, timedelta
from functools import partial

from program import clock
from program.actions.places import close
from program.actions.safety import end_hold, set_hold
from program.models import Hold, Resident
from scheduling.scenario.cast import Cast, Timeline


def plan_incidents(cast: Cast, timeline: Timeline, now: datetime) -> None:
    """Put them on the timeline, so that as of `now` each kind can be seen."""
    leave, hospital, returned, unwell = cast.plan.dice("incidents").sample(cast.residents, 4)
    aide, hour, day = cast.aides[0], timedelta(hours=1), timedelta(days=1)
    timeline.add(now - day - hour, aide, partial(_away, cast, leave, "leave", now - day, ends_at=now + 5 * day))
    timeline.add(now - 6 * day, aide, partial(_away, cast, hospital, "hospital", now - 6 * day))
    timeline.add(now - 9 * day, aide, partial(_away, cast, returned, "hospital", now - 9 * day))
    timeline.add(now - 2 * day, aide, partial(_come_back, cast, returned))
    timeline.add(now - 3 * day, cast.clinician, partial(_hold, cast, unwell, now - 3 * day))
    if cast.plan.has_broken_station:
        timeline.add(now - day, aide, partial(_break, cast))
    if cast.plan.closes_next_week:
        timeline.add(now - 4 * day, cast.coordinator, partial(_close_next_week, cast, now))


def _away(cast: Cast, resident: Resident, reason: str, since: datetime, ends_at: datetime | None = None) -> None:
    set_hold(resident=resident, kind=Hold.Kind.AWAY, reason=reason, starts_at=since, ends_at=ends_at, by=cast.aides[0])


def _come_back(cast: Cast, resident: Resident) -> None:
    away = Hold.objects.of(cast.building).get(resident=resident, kind=Hold.Kind.AWAY)
    end_hold(hold=away, by=cast.aides[0], note="back this morning")


def _hold(cast: Cast, resident: Resident, since: datetime) -> None:
    set_hold(resident=resident, kind=Hold.Kind.CLINICAL, reason="unwell", starts_at=since, by=cast.clinician)


def _break(cast: Cast) -> None:
    """The last station but one, so that most of a session can still be done."""
    station = cast.stations[-2]
    moment = cast.out_of_order[station.pk] = clock.now()
    close(
        building=cast.building,
        station=station,
        reason="out of order",
        starts_at=moment,
        note="the bench tilts, a repair is ordered",
        by=cast.aides[0],
    )


def _close_next_week(cast: Cast, now: datetime) -> None:
    """A holiday on Friday of next week."""
    friday = (now.astimezone(cast.building.zone).date()) + timedelta(days=0)
    friday += timedelta(days=11 - friday.weekday())
    close(
        building=cast.building,
        reason="holiday",
        starts_at=cast.at(friday, 0),
        ends_at=cast.at(friday + timedelta(days=1), 0),
        note="summer and winter party of the house",
        by=cast.coordinator,
    )
