"""Rosters whose worker is gone are found by the lock that it held; those that somebody works on are left alone."""

from collections.abc import Iterator
from datetime import timedelta

import psycopg
import pytest
from django.db import connection

from program import clock
from program.actions.locks import ROSTER
from program.models import scope
from program.rules.week import Week
from scheduling.actions import fill_roster, lost_rosters, start_roster
from scheduling.models import Roster
from tests.conftest import House

NEXT_WEEK = Week.named("2026-W50")


@pytest.fixture
def elsewhere() -> Iterator[psycopg.Connection]:
    """The connection of another process."""
    with psycopg.connect(**connection.get_connection_params() | {"cursor_factory": psycopg.ClientCursor}) as other:
        yield other


def a_roster(house: House, state: str = Roster.State.WAITING) -> Roster:
    roster = start_roster(building=house.building, week=NEXT_WEEK, by=house.coordinator, seconds=1)
    Roster.objects.filter(pk=roster.pk).update(state=state)
    return roster


def test_a_roster_that_somebody_builds_is_neither_built_twice_nor_lost(
    arrowfen: House, elsewhere: psycopg.Connection
) -> None:
    roster = a_roster(arrowfen, Roster.State.BUILDING)
    elsewhere.execute("SELECT pg_advisory_lock(%s, %s)", [ROSTER, roster.pk])

    fill_roster(roster_id=roster.pk, building_id=arrowfen.building.pk)
    roster.refresh_from_db()

    assert (roster.state, roster.starts, lost_rosters()) == ("building", 0, [])


def test_a_roster_whose_worker_was_killed_is_lost_at_once_and_built_by_the_next(
    arrowfen: House, elsewhere: psycopg.Connection
) -> None:
    roster = a_roster(arrowfen, Roster.State.BUILDING)
    elsewhere.execute("SELECT pg_advisory_lock(%s, %s)", [ROSTER, roster.pk])
    elsewhere.close()

    assert lost_rosters() == [(roster.pk, arrowfen.building.pk)]
    fill_roster(roster_id=roster.pk, building_id=arrowfen.building.pk)
    with scope([arrowfen.building.pk]):
        assert Roster.objects.get(pk=roster.pk).state == Roster.State.DRAFT


def test_a_roster_waits_for_its_worker_before_it_is_sent_again(arrowfen: House) -> None:
    roster = a_roster(arrowfen)

    assert lost_rosters() == []
    with clock.at(clock.now() + timedelta(minutes=6)):
        assert lost_rosters() == [(roster.pk, arrowfen.building.pk)]
