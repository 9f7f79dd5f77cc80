"""What sets a building apart, as it happened: an outbreak, an aide who left, a standstill, a session too soon."""

from datetime import timedelta
from functools import partial

from program import clock
from program.actions.places import close
from program.actions.records import NewLine, NewSet
from program.actions.sessions import withdraw_sessions
from program.actions.shifts import end_shift
from program.actions.unplanned import write_unplanned
from program.models import Prescription, Record, Resident, Session, Shift
from program.rules.starting import IDENTIFIED_BY
from scheduling.scenario.cast import Cast, Timeline
from scheduling.scenario.fates import Visit
from scheduling.scenario.incidents import break_station
from scheduling.scenario.recording import HELPED_ON, event_id
from scheduling.scenario.stories import OUTBREAK_DAYS

EARLY, BEFORE_NOON = 6 * 60 + 30, 11 * 60 + 20
# A session of that long ago is recovered from in less than an hour, one of this morning is told by the calendar.
JUST_TOO_SOON, SAME_DAY = timedelta(hours=47), timedelta(hours=15)
WEDNESDAY = 2


def plan_episodes(cast: Cast, timeline: Timeline) -> None:
    """Put the building's story on the timeline, and choose whom it is about."""
    story = cast.story
    chosen = [one.pk for one in cast.plan.dice("story").sample(cast.residents, story.refusing + story.untrained)]
    cast.refusing, cast.untrained = frozenset(chosen[: story.refusing]), frozenset(chosen[story.refusing :])
    cast.signs = [one for one in story.warning_signs if cast.days_ago(one.days_ago) >= timeline.since]
    if story.outbreak_weeks_ago:
        day = cast.week_ago(story.outbreak_weeks_ago).monday + timedelta(days=WEDNESDAY)
        timeline.add(cast.at(day, EARLY), cast.coordinator, partial(_close_for_outbreak, cast))
    if story.short_of_staff_weeks:
        monday = cast.week_ago(story.short_of_staff_weeks).monday
        timeline.add(cast.at(monday, EARLY), cast.coordinator, partial(_lose_an_aide, cast))
    if story.standstill_days:
        breaking = partial(break_station, cast, 0, "the seat no longer locks, a part is ordered")
        timeline.add(cast.days_ago(story.standstill_days, EARLY), cast.aides[-1], breaking)
    if story.trains_too_soon:
        moment = cast.at(cast.open_days_ago(1), BEFORE_NOON)
        timeline.add(moment, cast.aides[-1], partial(_train_too_soon, cast))


def _close_for_outbreak(cast: Cast) -> None:
    """The whole building for ten days; what was planned is taken off the plan by the coordinator."""
    now = clock.now()
    until = cast.at(cast.today + timedelta(days=OUTBREAK_DAYS), 0)
    close(
        building=cast.building,
        reason="outbreak",
        starts_at=now,
        ends_at=until,
        note="stomach infection in both wings",
        by=cast.coordinator,
    )
    planned = Session.objects.of(cast.building).on_the_plan().filter(starts_at__gte=now, starts_at__lt=until)
    withdraw_sessions(sessions=list(planned), reason="closed", by=cast.coordinator, note="outbreak")


def _lose_an_aide(cast: Cast) -> None:
    """Whoever was there most: the shifts end with last week, and nobody has them since."""
    for shift in Shift.objects.of(cast.building).filter(user=cast.aides[0]).select_related("building", "user"):
        end_shift(shift=shift, last_on=cast.today - timedelta(days=1), by=cast.coordinator)


def _train_too_soon(cast: Cast) -> None:
    """Somebody not on the list is brought along and trained, before they have recovered from the last time."""
    now = clock.now()
    recent = Session.objects.of(cast.building).filter(
        sets_done__gt=0, ended_at__gt=now - JUST_TOO_SOON, ended_at__lt=now - SAME_DAY
    )
    last = recent.select_related("resident__building").order_by("-ended_at", "pk").first()
    if last is not None:
        _train_now(cast, last.resident)


def _train_now(cast: Cast, resident: Resident) -> None:
    plan = Prescription.objects.in_force().get(resident=resident)
    lines = list(plan.lines.select_related("station"))
    turn = timedelta(minutes=cast.building.turn_minutes)
    starts_at = clock.now() - (len(lines) + 1) * turn
    ends_at = starts_at + len(lines) * turn
    visit = Visit(0, cast.plan.dice(f"too soon {resident.key}"), starts_at, ends_at - starts_at)
    sets = [
        NewSet(
            station=line.station,
            exercise=line.exercise,
            load=line.load,
            load_unit=line.load_unit,
            repetitions=9,
            seconds=76,
            ended_at=starts_at + number * turn + HELPED_ON + timedelta(seconds=76),
            event_id=event_id(visit),
            line=line,
            more_possible=1,
            pain=1,
        )
        for number, line in enumerate(lines)
    ]
    write_unplanned(
        resident=resident,
        starts_at=starts_at,
        ends_at=ends_at,
        lines=[
            NewLine(Record.Kind.STARTED, starts_at, event_id(visit), identified_by=IDENTIFIED_BY[0]),
            NewLine(Record.Kind.ENDED, ends_at, event_id(visit), note="was waiting in the room and came along"),
        ],
        sets=sets,
        done_by=cast.aides[-1],
        entered_by=cast.aides[-1],
    )
