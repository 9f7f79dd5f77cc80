"""Making reports in workers, one a building: sent on commit, sent again when lost, and asked for by the clock."""

import logging
from collections.abc import Sequence
from datetime import datetime
from functools import partial

from celery import shared_task
from django.db import transaction

from program.models import Building, User
from program.models.scoped import scope
from reports import actions
from reports.models import Report, Run
from reports.periods import Period

log = logging.getLogger(__name__)


def request_reports(*, by: User, buildings: Sequence[Building], period: Period, as_of: datetime | None = None) -> Run:
    """Ask for reports; workers make them once this is committed."""
    with transaction.atomic():
        run = actions.ask_for_reports(by=by, buildings=buildings, period=period, as_of=as_of)
        _spread_on_commit(run)
    return run


def request_again(*, report: Report, by: User) -> Run:
    """The same report as of the same moment, made again."""
    with transaction.atomic():
        run = actions.remake(report=report, by=by)
        _spread_on_commit(run)
    return run


def _spread_on_commit(run: Run) -> None:
    # Robust: where the queue cannot be reached the asking stands, and `resume` sends it within minutes.
    transaction.on_commit(partial(spread.delay, run.pk), robust=True)


@shared_task
def spread(run_id: int) -> None:
    """One task a building, so that one that cannot be made holds up no other."""
    for report_id, building_id in actions.reports_of_run(run_id):
        make.delay(report_id, building_id)


@shared_task
def make(report_id: int, building_id: int) -> None:
    actions.make_report(report_id=report_id, building_id=building_id)


@shared_task
def make_due() -> None:
    """Weeks and months that have ended at a building's midnight; what a missed beat left is made up for."""
    for building in Building.objects.order_by("pk"):
        try:
            with scope([building.pk]):
                for report_id in actions.ask_for_due_reports(building=building):
                    transaction.on_commit(partial(make.delay, report_id, building.pk), robust=True)
        except Exception:
            log.exception("The reports that are due could not be asked for in building %s.", building.pk)


@shared_task
def resume() -> None:
    """What was asked for and has lost its worker is sent again."""
    for report_id, building_id in actions.lost_reports():
        make.delay(report_id, building_id)
