"""A week of Arrowfen House, and the worker's part of building it."""

from django.urls import reverse

from program.rules.week import Week
from scheduling import actions
from scheduling.models import Roster
from tests.conftest import House

WEEK = Week.named("2026-W49")


def address(house: House, name: str = "week", *rest: object) -> str:
    return reverse(f"scheduling:{name}", args=[house.building.pk, *(rest or [WEEK.name])])


def built(house: House, seconds: int = 5) -> Roster:
    """A draft, with the worker's part done here."""
    roster = actions.start_roster(building=house.building, week=WEEK, by=house.coordinator, seconds=seconds)
    actions.fill_roster(roster_id=roster.pk, building_id=house.building.pk)
    return Roster.objects.get(pk=roster.pk)
