"""Asking for reports and making them: the row is the job, every step is a transaction of its own and may run twice."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from functools import reduce
from operator import or_
from time import sleep
from typing import Any

from django.db import connection, transaction
from django.db.models import Q

from program import access, clock
from program.actions.locks import REPORT, is_worked_on, working_on
from program.models import Building, Session, User
from program.models.scoped import scope
from program.rules.errors import Invalid, Refused
from reports.figures import figures_of
from reports.models import Report, Run
from reports.periods import KINDS, Period
from reports.queries import facts_of, reading, unfinished_writes

# A report that ends its worker this often is put aside instead of ending the next.
MOST_STARTS = 3
# What nobody has begun is sent again after this long, a few at a time: the first sending may still be on its way.
WAITS_AT_MOST = timedelta(seconds=30)
# What broke is given time to be mended: so long after the first start it is begun again, and after the second.
BEGUN_AGAIN_AFTER = (timedelta(seconds=30), timedelta(minutes=5))
# What failed for good is asked for again by the schedule, as long as it looks back to its period.
ASKED_AGAIN_AFTER = timedelta(days=1)
MOST_SENT_AGAIN = 50
WAITS, WAIT_SECONDS = 5, 0.1
# How far back the schedule makes up for what it missed.
PERIODS_BACK = 2
MAKING = "make reports"
FAILED = "Making this report failed three times. Make it again; if that fails too, ask for help."
REFUSED = "The person who asked for this report may no longer make reports of this building."

# Nothing where the schedule has asked already, however many beats there are and whatever their clocks say; once a day
# where it failed.
ASK_ONCE = """
INSERT INTO reports_report AS report
    (building_id, period_kind, period_name, starts_at, ends_at, as_of, is_scheduled, state, starts, asked_at, failure)
VALUES (%s, %s, %s, %s, %s, %s, true, 'waiting', 0, %s, '')
ON CONFLICT (building_id, period_kind, period_name) WHERE is_scheduled
DO UPDATE SET state = 'waiting', starts = 0, failure = '', asked_at = excluded.asked_at
 WHERE report.state = 'failed' AND report.asked_at <= %s
RETURNING id
"""


@transaction.atomic
def ask_for_reports(*, by: User, buildings: Sequence[Building], period: Period, as_of: datetime | None = None) -> Run:
    """Ask for one report a building, as things stood at `as_of` (now if not given); workers make them."""
    now = clock.now()
    as_of = as_of or now
    if not buildings:
        raise Invalid("Name at least one building.", field="buildings")
    if as_of > now:
        raise Invalid("That moment is still to come. Ask for the figures as of now or earlier.", field="as_of")
    if any(period.starts_at(building.zone) >= as_of for building in buildings):
        raise Refused(
            f"{period.words[0].upper()}{period.words[1:]} had not begun at that moment. Choose an earlier period.",
            problem="period-not-over",
        )
    run = Run.objects.create(period_kind=period.kind, period_name=period.name, as_of=as_of, asked_by=by, asked_at=now)
    Report.objects.bulk_create(
        Report(
            building=building,
            run=run,
            period_kind=period.kind,
            period_name=period.name,
            starts_at=period.starts_at(building.zone),
            ends_at=period.ends_at(building.zone),
            as_of=as_of,
            asked_at=now,
        )
        for building in {building.pk: building for building in buildings}.values()
    )
    return run


def remake(*, report: Report, by: User) -> Run:
    """Ask for the same report again, as of the same moment: whatever was corrected since, its figures are the same."""
    return ask_for_reports(by=by, buildings=[report.building], period=report.period, as_of=report.as_of)


def ask_for_due_reports(*, building: Building) -> list[int]:
    """The reports that the building's local midnight has made due and that nobody has asked for yet, by their ids.

    In the scope of the building. Never about a period before its first published session.
    """
    now = clock.now()
    first = Session.objects.of(building).filter(published_at__isnull=False).order_by("starts_at").first()
    if first is None:
        return []
    due = [period for period in due_periods(building, now) if period.ends_at(building.zone) > first.starts_at]
    asked = [_ask_once(building, period, now) for period in due]
    return [report_id for report_id in asked if report_id is not None]


def make_due_reports() -> Iterator[tuple[str, int]]:
    """What is due in every building is asked for and made here, without a worker; told as names and how many."""
    for building in Building.objects.order_by("name"):
        with scope([building.pk]):
            due = ask_for_due_reports(building=building)
        for report_id in due:
            make_report(report_id=report_id, building_id=building.pk)
        yield building.name, len(due)


def due_periods(building: Building, now: datetime) -> list[Period]:
    """The last weeks and months that are over by the clock of the building, oldest first."""
    today = now.astimezone(building.zone).date()
    found = []
    for kind in KINDS:
        period = Period.holding(kind, today)
        for _ in range(PERIODS_BACK):
            period = period.previous
            found.append(period)
    return sorted(found, key=lambda period: period.first_on)


def _ask_once(building: Building, period: Period, now: datetime) -> int | None:
    starts_at, ends_at = period.starts_at(building.zone), period.ends_at(building.zone)
    with connection.cursor() as cursor:
        period_of = (period.kind, period.name, starts_at, ends_at)
        cursor.execute(ASK_ONCE, [building.pk, *period_of, ends_at, now, now - ASKED_AGAIN_AFTER])
        row = cursor.fetchone()
    return row[0] if row else None


def make_report(*, report_id: int, building_id: int) -> None:
    """Make it, if it is still to be made. A worker that is killed on the way loses nothing."""
    with working_on(REPORT, report_id) as is_ours:
        if is_ours:
            _make(report_id, building_id)


def _make(report_id: int, building_id: int) -> None:
    _wait_for_writers()
    with scope([building_id]):
        report = _begun(report_id)
    if report is None:
        return
    try:
        with reading(report.building):
            figures = figures_of(facts_of(report.building, report.period, report.as_of))
    except Exception:
        # Otherwise a report that cannot be made would be tried for ever. The worker's own log has the rest.
        with scope([building_id], user_id=_asker_id(report)):
            if report.starts >= MOST_STARTS:
                _close(report, Report.State.FAILED, failure=FAILED)
        raise
    with scope([building_id], user_id=_asker_id(report)):
        _deliver(report, figures)


def _wait_for_writers() -> None:
    """Most write for some milliseconds; whoever takes longer is waited for by sending the report again."""
    for _ in range(WAITS):
        if not unfinished_writes(clock.now()):
            return
        sleep(WAIT_SECONDS)


def _begun(report_id: int) -> Report | None:
    """The report, if there is something to make, and with the start written down before anything can go wrong."""
    found = Report.objects.select_for_update(of=("self",)).select_related("building", "run__asked_by")
    report: Report = found.get(pk=report_id)
    # As of a moment that a clock set back has yet to reach: what is still to be written by then belongs to it.
    if report.state != Report.State.WAITING or report.as_of > clock.now():
        return None
    # What somebody is still writing would be missing now and there when it is made again: it is sent again soon.
    if unfinished_writes(report.as_of):
        return None
    if report.starts >= MOST_STARTS:
        _close(report, Report.State.FAILED, failure=FAILED)
        return None
    if _is_refused(report):
        _close(report, Report.State.REFUSED, failure=REFUSED)
        return None
    report.starts, report.started_at = report.starts + 1, clock.now()
    report.save(update_fields=["starts", "started_at"])
    return report


def _deliver(report: Report, figures: dict[str, Any]) -> None:
    # Asked again: the role may have ended while the figures were added up.
    if _is_refused(report):
        _close(report, Report.State.REFUSED, failure=REFUSED)
    else:
        _close(report, Report.State.MADE, figures=figures, made_at=clock.now())


def _close(report: Report, state: str, **told: Any) -> None:
    # Not where another worker has closed it meanwhile.
    Report.objects.filter(pk=report.pk, state=Report.State.WAITING).update(state=state, **told)


def _is_refused(report: Report) -> bool:
    asker = report.run.asked_by if report.run else None
    return asker is not None and not access.may(asker, MAKING, report.building)


def _asker_id(report: Report) -> int | None:
    return report.run.asked_by_id if report.run else None


def reports_of_run(run_id: int) -> list[tuple[int, int]]:
    """(report, building) of every report of the run that is still to be made."""
    with scope([], reported=_everywhere()):
        waiting = Report.objects.filter(run=run_id, state=Report.State.WAITING).order_by("pk")
        return list(waiting.values_list("pk", "building_id"))


def lost_reports() -> list[tuple[int, int]]:
    """(report, building) of what has lost its worker, which held a lock, or of what never reached one."""
    now = clock.now()
    with scope([], reported=_everywhere()):
        waiting = Report.objects.filter(state=Report.State.WAITING, as_of__lte=now).order_by("pk")
        begun = waiting.filter(_may_be_begun_again(now))
        unsent = waiting.filter(starts=0, asked_at__lte=now - WAITS_AT_MOST)
        found = [*begun.values_list("pk", "building_id"), *unsent.values_list("pk", "building_id")[:MOST_SENT_AGAIN]]
    return [(pk, building_id) for pk, building_id in found if not is_worked_on(REPORT, pk)]


def _may_be_begun_again(now: datetime) -> Q:
    """Nobody can tell a worker that was killed from one that broke: both wait, the more the oftener."""
    after = [Q(starts=starts, started_at__lte=now - wait) for starts, wait in enumerate(BEGUN_AGAIN_AFTER, start=1)]
    return reduce(or_, after, Q(starts__gte=MOST_STARTS))


def _everywhere() -> list[int]:
    return list(Building.objects.values_list("pk", flat=True))
