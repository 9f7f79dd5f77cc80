"""Sessions to ask about: booked by the action, one slot of six minutes a station."""

from datetime import datetime, timedelta
from uuid import uuid4

from program.actions.sessions import Booking, PlannedSlot, book_sessions
from program.models import Resident, Session
from program.rules.week import local_instant
from tests.conftest import MONDAY, House

TURN = timedelta(minutes=6)


def at(house: House, days: int, minute: int) -> datetime:
    """So many days after Monday 30 November 2026, by the clock of the house."""
    zone = house.building.zone
    return local_instant(MONDAY.astimezone(zone).date() + timedelta(days=days), minute, zone)


def booked(house: House, resident: Resident, starts_at: datetime, *, stations: int = 5) -> Session:
    slots = [
        PlannedSlot(station, starts_at + place * TURN, starts_at + (place + 1) * TURN)
        for place, station in enumerate(house.stations[:stations])
    ]
    booking = Booking(resident=resident, slots=slots, left_out=house.stations[stations:])
    return book_sessions(building=house.building, bookings=[booking], by=house.coordinator)[0]


def one_set(house: House, ended_at: datetime, **more: object) -> dict[str, object]:
    return {
        "station": house.stations[0].pk,
        "exercise": "leg press",
        "load": "20",
        "load_unit": "kg",
        "repetitions": 9,
        "seconds": 75,
        "ended_at": ended_at.isoformat(),
        "event_id": str(uuid4()),
    } | more


def one_line(kind: str, happened_at: datetime, **more: object) -> dict[str, object]:
    return {"kind": kind, "happened_at": happened_at.isoformat(), "event_id": str(uuid4())} | more
