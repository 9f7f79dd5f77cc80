"""Long work on rosters: a task takes ids, calls one action, and may run twice."""

from celery import shared_task
from django.db import transaction

from program.models import Building, User
from program.models.scoped import scope
from program.rules.week import Week
from program.web.request_lines import bound_request_id
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
    actions.fill_roster(roster_id=roster_id, building_id=building_id, request_id=bound_request_id())


@shared_task
def resume_rosters() -> None:
    """What has lost its worker, or never reached one, is sent again."""
    with scope(Building.objects.values_list("pk", flat=True)):
        lost = actions.lost_rosters()
    for roster_id, building_id in lost:
        fill_roster.delay(roster_id, building_id)


@shared_task
def refresh_flags(building_ids: list[int] | None = None) -> None:
    """All buildings in one pass, unless some are named."""
    keys = list(Building.objects.order_by("pk").values_list("pk", flat=True)) if building_ids is None else building_ids
    with scope(keys):
        actions.refresh_flags(building_ids=keys)
