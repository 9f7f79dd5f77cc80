"""Nothing is given to two at once: no station, no person in recovery, no hour of help."""

import random
import threading
from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import psycopg
import pytest
from django.db import IntegrityError, connection

from program.actions.sessions import book_sessions
from program.models import Resident, Session, Slot, scope
from program.models.scoped import whole_person
from program.rules.errors import Refused
from scheduling.actions import book_session, moving
from tests import factories
from tests.conftest import House
from tests.program.actions.arranging import booking
from tests.promises.conftest import SUPERUSER, Doorway
from tests.promises.racing import (
    at_once,
    everywhere,
    moments_without_enough_help,
    recovery_overlaps,
    station_overlaps,
    tell,
)

SEED = 4811
TUESDAY_NINE = datetime(2026, 12, 1, 14, 0, tzinfo=UTC)
TURN = timedelta(minutes=6)
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def staffed(real_house: House) -> House:
    """One aide on the circuit, Tuesday to Friday all day, and twenty-six residents."""
    with scope(everywhere()):
        for day in range(1, 5):
            factories.on_the_circuit(real_house.building, real_house.aide, date(2026, 12, day), 8 * 60, 17 * 60)
        for _ in range(26):
            real_house.resident()
    return real_house


def attempt(house: House, resident: Resident, start: datetime) -> Callable[[], str]:
    """The word of the answer: booked, or the type of the refusal."""

    def book() -> str:
        try:
            book_session(resident=Resident.objects.get(pk=resident.pk), starts_at=start, by=house.coordinator)
        except Refused as refusal:
            return refusal.problem
        return "booked"

    return book


def test_sixteen_booking_at_once_give_nothing_to_two(staffed: House) -> None:
    chance = random.Random(SEED)  # noqa: S311 - a fixed course of events, not a secret
    tries = [
        attempt(
            staffed,
            chance.choice(staffed.residents),
            TUESDAY_NINE + timedelta(days=chance.randrange(4)) + TURN * chance.randrange(12),
        )
        for _ in range(120)
    ]

    told = Counter(at_once(tries))

    with scope(everywhere()):
        bad = (station_overlaps(), recovery_overlaps(), moments_without_enough_help())
        assert Session.objects.count() == told["booked"]
    tell(f"booking, seed {SEED}, {dict(told)}", tried=len(tries), bad=sum(bad))
    assert set(told) <= {"booked", "time-not-allowed", "station-taken", "too-soon"}
    assert told["booked"] >= 15
    assert told["time-not-allowed"] >= 20
    assert bad == (0, 0, 0)


def test_of_sixteen_asking_for_one_start_exactly_three_get_it(staffed: House) -> None:
    """One aide helps three who take two sixths each; the others are refused, round after round."""
    waiting = list(staffed.residents)
    for round_ in range(4):
        start = TUESDAY_NINE + timedelta(days=round_)
        asking = waiting[:16]
        told = at_once([attempt(staffed, one, start) for one in asking], is_one_blow=True)
        waiting = [one for one, word in zip(asking, told, strict=True) if word != "booked"] + waiting[16:]
        assert Counter(told) == {"booked": 3, "time-not-allowed": 13}

    with scope(everywhere()):
        bad = (station_overlaps(), recovery_overlaps(), moments_without_enough_help())
    tell("the same start", tried=4 * 16, bad=sum(bad))
    assert bad == (0, 0, 0)


def in_a_thread(work: Callable[[], str], answers: list[str]) -> threading.Thread:
    return threading.Thread(target=lambda: answers.extend(at_once([work], threads=1)))


@pytest.fixture
def two_who_need_an_aide_each(real_house: House) -> tuple[House, list[Resident]]:
    """One aide, one-to-one help for each of two residents, on stations of their own: only the help is scarce."""
    with scope(everywhere()):
        house = real_house
        factories.on_the_circuit(house.building, house.aide, date(2026, 12, 1), 8 * 60, 17 * 60)
        residents = [
            factories.enrolled(house.building, house.unit, stations, by=house.coordinator, help_sixths=6)
            for stations in (house.stations[:2], house.stations[2:4])
        ]
    return house, residents


def test_the_last_hour_of_help_is_given_once(two_who_need_an_aide_each: tuple[House, list[Resident]]) -> None:
    house, (first, second) = two_who_need_an_aide_each
    answers: list[str] = []
    other = in_a_thread(attempt(house, second, TUESDAY_NINE), answers)
    with scope(everywhere()):
        assert attempt(house, first, TUESDAY_NINE)() == "booked"
        other.start()
        other.join(timeout=0.5)
        # Still waiting for the lock.
        assert answers == []
    other.join()

    assert answers == ["time-not-allowed"]
    with scope(everywhere()):
        assert (Session.objects.count(), moments_without_enough_help()) == (1, 0)


def test_without_the_lock_the_last_hour_of_help_is_given_twice(
    two_who_need_an_aide_each: tuple[House, list[Resident]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control of the test above."""
    monkeypatch.setattr(moving, "lock_plan", lambda building: None)
    house, (first, second) = two_who_need_an_aide_each
    answers: list[str] = []
    other = in_a_thread(attempt(house, second, TUESDAY_NINE), answers)
    with scope(everywhere()):
        assert attempt(house, first, TUESDAY_NINE)() == "booked"
        other.start()
        other.join(timeout=20)
        assert answers == ["booked"]

    with scope(everywhere()):
        assert (Session.objects.count(), moments_without_enough_help()) == (2, 1)
        tell("help without the lock", tried=1, bad=moments_without_enough_help())


def booking_without_judging(house: House, resident: Resident, start: datetime) -> Callable[[], str]:
    """Straight to the database: what it refuses by itself, when nobody has looked before."""

    def book() -> str:
        try:
            book_sessions(building=house.building, bookings=[booking(house, resident, start)], by=house.coordinator)
        except Refused as refusal:
            return refusal.problem
        return "booked"

    return book


@pytest.mark.parametrize(
    ("is_same_resident", "later", "answer"),
    [(False, timedelta(0), "station-taken"), (True, timedelta(hours=47), "too-soon")],
)
def test_a_booking_waits_for_an_open_one_and_is_then_refused(
    staffed: House, is_same_resident: bool, later: timedelta, answer: str
) -> None:
    first = staffed.residents[0]
    second = first if is_same_resident else staffed.residents[1]
    answers: list[str] = []
    other = in_a_thread(booking_without_judging(staffed, second, TUESDAY_NINE + later), answers)
    with scope(everywhere()):
        assert booking_without_judging(staffed, first, TUESDAY_NINE)() == "booked"
        other.start()
        other.join(timeout=0.5)
        assert answers == []
    other.join()

    assert answers == [answer]


def test_the_database_alone_gives_nothing_to_two(staffed: House) -> None:
    chance = random.Random(SEED)  # noqa: S311 - a fixed course of events, not a secret
    tries = [
        booking_without_judging(
            staffed,
            chance.choice(staffed.residents),
            TUESDAY_NINE + timedelta(days=chance.randrange(4)) + TURN * chance.randrange(20),
        )
        for _ in range(600)
    ]

    told = Counter(at_once(tries))

    with scope(everywhere()):
        bad = (station_overlaps(), recovery_overlaps())
    tell(f"the database alone, seed {SEED}, {dict(told)}", tried=len(tries), bad=sum(bad))
    assert bad == (0, 0)
    assert set(told) == {"booked", "station-taken", "too-soon"}


COPY_OF_A_SLOT = """
INSERT INTO program_slot (building_id, session_id, station_id, starts_at, ends_at, is_held)
SELECT building_id, %s, station_id, starts_at, ends_at, is_held FROM program_slot WHERE id = %s
"""
COPY_OF_A_SESSION = """
INSERT INTO program_session ({columns}) SELECT {columns} FROM program_session WHERE id = %s
"""


@pytest.fixture
def two_sessions(staffed: House) -> tuple[Session, Session]:
    with scope(everywhere()):
        first, second = staffed.residents[:2]
        bookings = [
            booking(staffed, first, TUESDAY_NINE),
            booking(staffed, second, TUESDAY_NINE + timedelta(hours=1)),
        ]
        one, other = book_sessions(building=staffed.building, bookings=bookings, by=staffed.coordinator)
    return one, other


@pytest.mark.parametrize(
    ("constraint", "table"),
    [
        ("a_station_holds_one_resident_at_a_time", "program_slot"),
        ("nobody_trains_before_they_have_recovered", "program_session"),
    ],
)
def test_without_its_constraint_the_database_lets_two_have_it(
    two_sessions: tuple[Session, Session], connect_as: Doorway, constraint: str, table: str
) -> None:
    """The control: the same row refused, and accepted once the constraint is gone (in a transaction rolled back)."""
    one, other = two_sessions
    with scope(everywhere()):
        slot = one.slots.first().pk
    columns = ", ".join(field.column for field in Session._meta.local_fields if field.column != "id")
    copy, keys = {
        "program_slot": (COPY_OF_A_SLOT, [other.pk, slot]),
        "program_session": (COPY_OF_A_SESSION.format(columns=columns), [one.pk]),
    }[table]
    with connect_as(SUPERUSER) as superuser:
        with pytest.raises(psycopg.errors.ExclusionViolation), superuser.transaction():
            superuser.execute(copy, keys)
        superuser.execute(f"ALTER TABLE {table} DROP CONSTRAINT {constraint}")
        assert superuser.execute(copy, keys).rowcount == 1


ODD_SPANS = ["empty", "backwards", "no start", "no end", "endless", "from for ever"]


@pytest.mark.parametrize("odd", ODD_SPANS)
@pytest.mark.parametrize(
    ("table", "start", "end"),
    [
        ("program_session", "starts_at", "ends_at"),
        ("program_session", "held_from", "held_until"),
        ("program_slot", "starts_at", "ends_at"),
        ("program_shifttime", "starts_at", "ends_at"),
    ],
)
def test_no_odd_span_is_ever_stored(
    two_sessions: tuple[Session, Session], table: str, start: str, end: str, odd: str
) -> None:
    """An empty or a missing span passes an exclusion constraint; an endless one would hold a station for ever."""
    assert two_sessions
    written = {
        "empty": f"{end} = {start}",
        "backwards": f"{end} = {start} - interval '1 hour'",
        "no start": f"{start} = NULL",
        "no end": f"{end} = NULL",
        "endless": f"{end} = 'infinity'",
        "from for ever": f"{start} = '-infinity'",
    }[odd]
    with pytest.raises(IntegrityError) as refused, scope(everywhere()), connection.cursor() as cursor:
        cursor.execute(f"UPDATE {table} SET {written}")  # noqa: S608 - names of our own columns

    # Not by an exclusion constraint: by the rule that spans are whole.
    assert refused.value.__cause__.sqlstate in {"23514", "23502"}


def test_a_session_in_another_building_counts_for_the_person(staffed: House) -> None:
    """Seen by settling alone, and held by the constraint, which no scope weakens."""
    with scope(everywhere()):
        resident = staffed.residents[0]
        book_sessions(
            building=staffed.building, bookings=[booking(staffed, resident, TUESDAY_NINE)], by=staffed.coordinator
        )
    with scope([]):
        assert Session.objects.filter(person_id=resident.person_id).count() == 0
        with whole_person([resident.person_id]):
            assert Session.objects.filter(person_id=resident.person_id).count() == 1
        assert Slot.objects.count() == 0
