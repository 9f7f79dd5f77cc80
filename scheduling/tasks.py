"""Long work on rosters: a task takes ids, calls one action, and may run twice."""

from celery import shared_task
from django.db import transaction

from program.models import Building, User
from program.rules.week import Week
from scheduling import actions
from scheduling.models import Roster


def request_roster(*, building: Building, week: Week, by: User, seconds: int = 20) -> Roster:
    """Ask for a week; a worker fills it once this is committed."""
    with transaction.atomic():
        roster = actions.start_roster(building=building, week=week, by=by, seconds=seconds)
        fill_roster.delay_on_commit(roster.pk, building.pk)  # type: ignore[attr-defined] # its stubs do not know it
    return roster


@shared_task
def fill_roster(roster_id: int, building_id: int) -> None:
    actions.fill_roster(roster_id=roster_id, building_id=building_id)
