"""A session of Rose Oak on Monday at nine, and what one does to it on the phone."""

from collections.abc import Callable, Iterator
from datetime import date, datetime
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from program import clock
from program.models import Resident, Session, User
from program.rules.week import local_instant
from tests.conftest import House
from tests.program.api.arranging import booked


@pytest.fixture
def nine(arrowfen: House) -> Iterator[datetime]:
    """Monday 09:00 by the clock of the house, for the length of the test."""
    moment = local_instant(date(2026, 11, 30), 9 * 60, arrowfen.building.zone)
    with clock.at(moment):
        yield moment


@pytest.fixture
def rose(arrowfen: House) -> Resident:
    notes = ["two wheels, brakes on", "hears on the left"]
    return arrowfen.resident(given_name="Rose", family_name="Oak", room="12", helper_notes=notes)


@pytest.fixture
def session(arrowfen: House, rose: Resident, nine: datetime) -> Session:
    return booked(arrowfen, rose, nine)


@pytest.fixture
def staff(arrowfen: House, nine: datetime, client_of: Callable[[User], Client]) -> Client:
    return client_of(arrowfen.aide)


def address(session, verb=""):
    return reverse(f"program:session{'-' + verb if verb else ''}", args=[session.building_id, session.pk])


def sent(staff, session, verb, **fields):
    return staff.post(address(session, verb), {"event_id": str(uuid4())} | fields)


def begin(staff, session):
    assert sent(staff, session, "start", identified_by="date of birth").status_code == 302


def figures(session, place=0, **more):
    """What one types at a station."""
    line = session.prescription.lines.order_by("position")[place]
    typed = {"repetitions": "9", "seconds": "78", "load": "20", "more_possible": "2", "pain": "0"}
    return {"event_id": str(uuid4()), "station": line.station_id, "line": line.pk} | typed | more


def save(staff, session, place=0, **more):
    return staff.post(address(session, "set"), figures(session, place, **more))


def as_it_is(session, see_all):
    see_all()
    return Session.objects.get(pk=session.pk)
