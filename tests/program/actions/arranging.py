"""Sessions to begin a test with: booked through the action, done through lines."""

from datetime import datetime, timedelta
from decimal import Decimal
from uuid import uuid4

from program.actions.records import NewSet, write_lines
from program.actions.sessions import Booking, PlannedSlot, book_sessions
from program.models import Resident, Session
from tests.conftest import House

TURN = timedelta(minutes=6)


def booking(house: House, resident: Resident, start: datetime, *, first: int = 0) -> Booking:
    """Half an hour: five stations, one turn each, beginning with the `first`."""
    stations = house.stations[first:] + house.stations[:first]
    return Booking(
        resident,
        [PlannedSlot(station, start + turn * TURN, start + (turn + 1) * TURN) for turn, station in enumerate(stations)],
    )


def booked(house: House, resident: Resident, start: datetime, *, first: int = 0) -> Session:
    bookings = [booking(house, resident, start, first=first)]
    return book_sessions(building=house.building, bookings=bookings, by=house.coordinator)[0]


def a_set(house: House, ended_at: datetime, *, seconds: int = 90) -> NewSet:
    return NewSet(
        station=house.stations[0],
        exercise="leg press",
        load=Decimal(20),
        load_unit="kg",
        repetitions=8,
        seconds=seconds,
        ended_at=ended_at,
        event_id=uuid4(),
    )


def train(house: House, session: Session, *, ended_at: datetime, started_at: datetime | None = None) -> Session:
    """One set at the start and one that ends at `ended_at`."""
    first = (started_at or session.starts_at) + timedelta(seconds=90)
    sets = [a_set(house, moment) for moment in sorted({first, ended_at})]
    return write_lines(session=session, sets=sets, done_by=house.aide, entered_by=house.aide)
