"""Two buildings that publish at once, with the same persons in opposite order: no circle, and nobody twice."""

import threading
from datetime import UTC, datetime, timedelta

import pytest
from django.db import OperationalError

from program.actions import locks, sessions
from program.actions.sessions import book_sessions
from program.models import Person, Session, scope
from program.rules.errors import Refused
from tests.conftest import House, build_house
from tests.program.actions.arranging import booking
from tests.promises.racing import at_once, everywhere, recovery_overlaps, station_overlaps, tell

pytestmark = pytest.mark.django_db(transaction=True)
TUESDAY = datetime(2026, 12, 1, 14, 0, tzinfo=UTC)
THURSDAY_LATE = datetime(2026, 12, 3, 20, 0, tzinfo=UTC)
MOVES = datetime(2026, 12, 2, 5, 0, tzinfo=UTC)
PERSONS = 6


@pytest.fixture
def two_stays(real_house: House) -> tuple[House, House]:
    """Six persons who leave the first house on Tuesday night for the second, listed there in the opposite order."""
    with scope(everywhere()):
        second = build_house("Brindlewharf")
        persons = [Person.objects.create() for _ in range(PERSONS)]
        for person in persons:
            real_house.resident(person=person, until=MOVES)
        for person in reversed(persons):
            second.resident(person=person, since=MOVES, enrolled_at=MOVES)
    return real_house, second


def publish(house: House, start: datetime) -> str:
    bookings = [
        booking(house, resident, start + timedelta(minutes=30) * place)
        for place, resident in enumerate(house.residents)
    ]
    try:
        book_sessions(building=house.building, bookings=bookings, by=house.coordinator)
    except Refused as refusal:
        return refusal.problem
    except OperationalError as error:
        return type(error.__cause__).__name__
    return "booked"


def test_both_are_published_when_recovery_allows_it(two_stays: tuple[House, House]) -> None:
    first, second = two_stays
    told = at_once([lambda: publish(first, TUESDAY), lambda: publish(second, THURSDAY_LATE)], is_one_blow=True)

    assert told == ["booked", "booked"]
    with scope(everywhere()):
        assert (Session.objects.count(), station_overlaps(), recovery_overlaps()) == (2 * PERSONS, 0, 0)


def test_one_of_them_is_refused_when_it_does_not(two_stays: tuple[House, House]) -> None:
    first, second = two_stays
    rounds = 6
    for round_ in range(rounds):
        # A week on, so that earlier rounds are out of reach; the stays do not matter to the database.
        start = TUESDAY + timedelta(weeks=round_)
        both = [
            lambda start=start: publish(first, start),
            lambda start=start: publish(second, start + timedelta(hours=40)),
        ]
        assert sorted(at_once(both, is_one_blow=True)) == ["booked", "too-soon"]

    with scope(everywhere()):
        bad = recovery_overlaps()
        assert (Session.objects.count(), bad) == (rounds * PERSONS, 0)
    tell("publishing in opposite order", tried=2 * rounds * PERSONS, bad=bad)


def test_locked_in_the_order_given_they_wait_for_each_other_in_a_circle(
    two_stays: tuple[House, House], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control: each takes its first person, then asks for the other's."""
    first, second = two_stays
    both_have_one = threading.Barrier(2)

    def lock_as_given(*, person_ids: list) -> None:
        for place, key in enumerate(person_ids):
            locks.lock_persons(person_ids=[key])
            if place == 0:
                both_have_one.wait(timeout=20)

    monkeypatch.setattr(sessions, "lock_persons", lock_as_given)
    told = at_once([lambda: publish(first, TUESDAY), lambda: publish(second, THURSDAY_LATE)], is_one_blow=True)

    assert sorted(told) == ["DeadlockDetected", "booked"]
