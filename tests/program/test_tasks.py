"""What the clock asks for, asked for."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from program.actions.shifts import add_shift
from program.models import ShiftTime
from program.tasks import extend_calendars
from tests.conftest import MONDAY

ZONE = ZoneInfo("America/New_York")


def test_the_nightly_task_makes_the_shifts_of_a_year_ahead(arrowfen, at):
    add_shift(
        building=arrowfen.building,
        user=arrowfen.aide,
        first_on=date(2026, 11, 30),
        starts_minute=480,
        ends_minute=720,
        by=arrowfen.coordinator,
    )
    with at(MONDAY + timedelta(days=7)):
        extend_calendars()

    # The last Monday before 400 days from 7 December 2026.
    assert ShiftTime.objects.latest("starts_at").starts_at == datetime(2028, 1, 10, 8, tzinfo=ZONE)
