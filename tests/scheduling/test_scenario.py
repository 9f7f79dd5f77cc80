"""The invented organisation: made by the real actions, whole, once."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from program import clock
from program.models import Audit, Building, Incident, Record, Resident, Session, User, scope
from program.models.scoped import set_scope
from program.rules.late_entry import late_entry
from program.rules.states import State
from program.rules.week import Week
from scheduling.check import broken_rules
from scheduling.models import Flag, Roster
from scheduling.problem import read_problem, read_roster
from scheduling.scenario import BUILDINGS, Seeded, kept_password, logins, seed_building, seed_organisation

pytestmark = pytest.mark.django_db
# Few people, and as many weeks as the first warning sign lies back.
SMALL = replace(BUILDINGS[0], residents=16)
WEEKS = 4
PASSWORD = "seven quiet herons admire two copper kettles"
# A Wednesday, half past two in the afternoon in New York.
WEDNESDAY = datetime(2026, 12, 2, 19, 30, tzinfo=UTC)
NEW_YORK = ZoneInfo("America/New_York")


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: Any) -> Iterator[Seeded]:
    """Made once for all tests here: it takes seconds."""
    with django_db_blocker.unblock(), transaction.atomic(), clock.at(WEDNESDAY):
        with scope([], is_administration=True):
            seed_organisation(password=PASSWORD)
        made = seed_building(SMALL, weeks_of_history=WEEKS, seconds=1)
        assert made is not None
        yield made
        transaction.set_rollback(True)


@pytest.fixture
def seeded(made: Seeded) -> Seeded:
    set_scope(Building.objects.values_list("pk", flat=True), user_id=None)
    return made


def starts_in(weeks_ago: int) -> set[tuple[int, str]]:
    """Who begins when in a week, by weekday and wall clock."""
    week = Week(Week.of(WEDNESDAY, NEW_YORK).monday - timedelta(weeks=weeks_ago))
    sessions = Session.objects.filter(
        published_at__isnull=False, starts_at__gte=week.starts_at(NEW_YORK), starts_at__lt=week.ends_at(NEW_YORK)
    )
    return {(one.resident_id, f"{one.starts_at.astimezone(NEW_YORK):%a %H:%M}") for one in sessions}


def test_a_building_stands_as_on_a_wednesday_afternoon(seeded: Seeded) -> None:
    assert (seeded.residents, Resident.objects.count()) == (SMALL.residents, SMALL.residents)
    newest = Roster.objects.order_by("-monday")[0]
    assert [roster.state for roster in Roster.objects.all()] == [Roster.State.PUBLISHED] * 3
    assert seeded.unplaced == sum(one["missing"] for one in newest.answer["unplaced"])
    assert broken_rules(read_problem(newest.problem), read_roster(newest.answer)) == []
    states = Counter(session.state_at(WEDNESDAY) for session in Session.objects.all())
    assert states[State.DONE] > 50
    assert states[State.PUBLISHED] > 5


def test_a_week_between_two_rosters_keeps_the_times_that_people_are_used_to(seeded: Seeded) -> None:
    assert len(starts_in(2)) > 10
    assert starts_in(2) <= starts_in(3)


def test_a_warning_sign_is_seen_to_and_another_waits(seeded: Seeded) -> None:
    told = [
        (one.sign, one.seen_by_id is not None, one.hold.ends_at is not None)
        for one in Incident.objects.select_related("hold").order_by("happened_at")
    ]

    assert told == [("dizziness", True, True), ("near-faint", False, False)]


def test_somebody_has_trained_too_soon_and_outside_the_plan(seeded: Seeded) -> None:
    assert list(Session.objects.filter(is_too_soon=True).values_list("published_at", flat=True)) == [None]


def test_what_somebody_must_look_at_is_flagged_from_the_first_minute(seeded: Seeded) -> None:
    assert Flag.objects.open_now().filter(kind=Flag.Kind.TOO_SOON).count() == 1


def test_what_is_written_within_the_hour_is_no_late_entry(seeded: Seeded) -> None:
    """All but the few that somebody else entered the next morning."""
    delays = {
        record.session_id: late_entry(record.happened_at, record.entered_at)
        for record in Record.objects.filter(kind=Record.Kind.STARTED)
    }
    late = [delay for delay in delays.values() if delay]

    assert len(late) < len(delays) / 5
    assert all(delay > timedelta(hours=12) for delay in late)


def test_nobody_is_there_twice(seeded: Seeded) -> None:
    names = [resident.name for resident in Resident.objects.all()]

    assert len(set(names)) == len(names)


def test_making_it_again_changes_nothing(seeded: Seeded) -> None:
    before = Audit.objects.count()
    with clock.at(WEDNESDAY):
        assert seed_building(SMALL) is None

    [building] = Building.objects.all()
    with scope([building.pk]):
        assert Audit.objects.count() == before


def test_everybody_who_is_told_can_sign_in(seeded: Seeded) -> None:
    told = {login.username for login in logins() if login.where in {SMALL.name, "everywhere"}}
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
