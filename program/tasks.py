"""Work that the clock asks for: what is due is computed from the database, so that a missed beat loses nothing."""

from celery import shared_task

from program import clock
from program.actions.calendars import extend_times
from program.actions.settling import settle_closed_day
from program.actions.shifts import extend_shifts
from program.models import Building
from program.models.scoped import scope
from program.rules.horizon import HORIZON


@shared_task
def extend_calendars() -> None:
    """Times of recurring commitments and shifts reach 400 days ahead, building by building."""
    for building in Building.objects.order_by("pk"):
        with scope([building.pk]):
            extend_times(building=building, until=clock.now() + HORIZON)
            extend_shifts(building=building, until=(clock.now() + HORIZON).astimezone(building.zone).date())


@shared_task
def settle_closed_days() -> None:
    """What a closed day has turned into missed sessions lets go of its spans and stations."""
    for building in Building.objects.order_by("pk"):
        with scope([building.pk]):
            settle_closed_day(building=building)
