"""Forty-eight hours between sessions, to the second, by the rule and by the database."""

from datetime import UTC, date, datetime, timedelta
from itertools import combinations
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, connection, transaction

from program.models import Session
from program.rules.recovery import Claim, spans
from program.rules.week import local_instant
from tests.conftest import House
from tests.program.actions.arranging import booked

NEW_YORK = ZoneInfo("America/New_York")
MONDAY_TEN = datetime(2026, 11, 30, 15, 0, tzinfo=UTC)
HALF_AN_HOUR = timedelta(minutes=30)

# ACSM position stand 2011 (Garber et al., Med Sci Sports Exerc 43:1334-59): at least 48 hours between sessions for any
# single muscle group. Elapsed time; the boundary itself is allowed.
BOUNDARY = [(timedelta(hours=47, minutes=59, seconds=59), False), (timedelta(hours=48), True)]


@pytest.mark.parametrize(("gap", "is_allowed"), BOUNDARY)
def test_the_rule_allows_the_48th_hour_and_not_the_second_before(gap: timedelta, is_allowed: bool) -> None:
    end = MONDAY_TEN + HALF_AN_HOUR
    first = Claim(1, MONDAY_TEN, end, is_fact=True)
    second = Claim(2, end + gap, end + gap + HALF_AN_HOUR, is_fact=True)

    assert spans([first, second])[2].is_too_soon is not is_allowed


@pytest.mark.django_db
@pytest.mark.parametrize("zone", ["UTC", "America/New_York"])
@pytest.mark.parametrize(("gap", "is_allowed"), BOUNDARY)
@pytest.mark.parametrize("start", [MONDAY_TEN, datetime(2027, 3, 13, 15, 0, tzinfo=UTC)])
def test_the_database_allows_the_48th_hour_and_not_the_second_before(
    arrowfen: House, zone: str, gap: timedelta, is_allowed: bool, start: datetime
) -> None:
    """Whatever the time zone of the connection, also across a clock change."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('TimeZone', %s, true)", [zone])
    first = booked(arrowfen, arrowfen.resident(), start)
    second = Session.objects.get(pk=first.pk)
    second.pk, second._state.adding = None, True
    second.starts_at = second.held_from = first.ends_at + gap
    second.ends_at = second.starts_at + HALF_AN_HOUR
    second.held_until = second.ends_at + timedelta(hours=48)

    assert is_stored(second) is is_allowed


@pytest.mark.django_db
@pytest.mark.parametrize("zone", ["UTC", "America/New_York"])
@pytest.mark.parametrize(("held", "is_allowed"), BOUNDARY)
@pytest.mark.parametrize("start", [MONDAY_TEN, datetime(2027, 3, 13, 15, 0, tzinfo=UTC)])
def test_no_booking_is_stored_that_holds_less_than_48_hours(
    arrowfen: House, zone: str, held: timedelta, is_allowed: bool, start: datetime
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('TimeZone', %s, true)", [zone])
    session = booked(arrowfen, arrowfen.resident(), start)
    session.held_until = session.ends_at + held

    assert is_stored(session) is is_allowed


def is_stored(session: Session) -> bool:
    try:
        with transaction.atomic():
            session.save()
    except IntegrityError:
        return False
    return True


def pairs_of(open_days: int, *, sessions: int) -> list[tuple[int, ...]]:
    """Weekdays on which every week can have sessions at one clock time, by the rule."""
    monday = date(2026, 6, 1)
    found = []
    for days in combinations(range(open_days), sessions):
        starts = [
            local_instant(monday + timedelta(days=day + 7 * week), 600, NEW_YORK) for week in range(2) for day in days
        ]
        claims = [Claim(start, start, start, is_fact=True) for start in starts]
        if not any(held.is_too_soon for held in spans(claims).values()):
            found.append(days)
    return found


def test_the_pairs_of_days_are_these() -> None:
    # Counted by hand: days at least two apart both ways round the week.
    assert len(pairs_of(7, sessions=2)) == 14
    assert len(list(combinations(range(7), 2))) == 21
    assert pairs_of(5, sessions=2) == [(0, 2), (0, 3), (0, 4), (1, 3), (1, 4), (2, 4)]
    assert len(pairs_of(7, sessions=3)) == 7


def test_monday_at_two_and_wednesday_at_ten_are_44_hours_apart_and_too_soon() -> None:
    # By arithmetic.
    first = local_instant(date(2026, 11, 30), 14 * 60, NEW_YORK)
    second = local_instant(date(2026, 12, 2), 10 * 60, NEW_YORK)

    assert (second - first) / timedelta(hours=1) == 44
    told = spans([Claim(1, first, first, is_fact=True), Claim(2, second, second, is_fact=True)])
    assert told[2].is_too_soon
