"""The invented organisation: made by the real actions, whole, once."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from program import clock
from program.models import Audit, Building, Resident, Session, User, scope
from program.models.scoped import set_scope
from program.rules.states import State
from scheduling.check import broken_rules
from scheduling.models import Roster
from scheduling.problem import read_problem, read_roster
from scheduling.scenario import BUILDINGS, Seeded, kept_password, logins, seed_building, seed_organisation

SMALLEST = min(BUILDINGS, key=lambda plan: plan.residents)
PASSWORD = "seven quiet herons admire two copper kettles"
# A Wednesday, half past two in the afternoon in New York.
WEDNESDAY = datetime(2026, 12, 2, 19, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: Any) -> Iterator[Seeded]:
    """Made once for all tests here: it takes seconds."""
    with django_db_blocker.unblock(), transaction.atomic(), clock.at(WEDNESDAY):
        with scope([], is_administration=True):
            seed_organisation(password=PASSWORD)
        made = seed_building(SMALLEST, seconds=3)
        assert made is not None
        yield made
        transaction.set_rollback(True)


@pytest.fixture
def seeded(made: Seeded) -> Seeded:
    set_scope(Building.objects.values_list("pk", flat=True), user_id=None)
    return made


def test_a_building_stands_as_on_a_wednesday_afternoon(seeded: Seeded) -> None:
    assert (seeded.residents, Resident.objects.count()) == (SMALLEST.residents, SMALLEST.residents)
    roster = Roster.objects.get()
    assert roster.state == Roster.State.PUBLISHED
    assert seeded.unplaced == sum(one["missing"] for one in roster.answer["unplaced"])
    assert broken_rules(read_problem(roster.problem), read_roster(roster.answer)) == []
    states = Counter(session.state_at(WEDNESDAY) for session in Session.objects.all())
    assert states[State.DONE] > 10
    assert states[State.PUBLISHED] > 10
    assert not Session.objects.filter(is_too_soon=True).exists()


def test_nobody_is_there_twice(seeded: Seeded) -> None:
    names = [resident.name for resident in Resident.objects.all()]

    assert len(set(names)) == len(names)


def test_making_it_again_changes_nothing(seeded: Seeded) -> None:
    before = Audit.objects.count()
    with clock.at(WEDNESDAY):
        assert seed_building(SMALLEST) is None

    [building] = Building.objects.all()
    with scope([building.pk]):
        assert Audit.objects.count() == before


def test_everybody_who_is_told_can_sign_in(seeded: Seeded) -> None:
    told = {login.username for login in logins() if login.where in {SMALLEST.name, "everywhere"}}
    people = User.objects.filter(username__in=told)

    assert {user.username for user in people if user.check_password(PASSWORD)} == told


def test_the_password_is_made_once_and_kept(tmp_path: Path) -> None:
    assert kept_password(tmp_path) == kept_password(tmp_path)
    assert (tmp_path / "demo-password").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("command", ["seed_demo", "demo_logins"])
def test_nothing_is_invented_outside_the_demo(command: str, settings: Any) -> None:
    settings.DEMO = False
    with pytest.raises(CommandError, match="demo only"):
        call_command(command)
