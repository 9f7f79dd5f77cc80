"""What may still be done with a session that is late, and with one that moves another."""

from datetime import timedelta
from urllib.parse import urlencode

import pytest

from program import clock
from program.models import Session
from tests import factories
from tests.program.pages.words import words
from tests.scheduling.flagging import flags
from tests.scheduling.pages.test_days import MONDAY, at_clock
from tests.scheduling.pages.test_to_do import SATURDAY, WEDNESDAY, address, book, offered


@pytest.fixture
def manned(arrowfen):
    for offset in range(6):
        day = MONDAY + timedelta(days=offset)
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, day, 8 * 60, 17 * 60)
    return arrowfen


@pytest.fixture
def look(manned, client_of):
    return lambda: client_of(manned.coordinator)


def test_what_would_move_along_elsewhere_than_was_shown_moves_nothing(manned, coordinator, see_all):
    resident = manned.resident(last_session_ended_at=clock.now())
    other = book(manned, resident, 9, 0, WEDNESDAY)
    (flag,) = flags(manned, "due")
    shown = coordinator.get(address(manned, "to-do-one", flag.pk))
    moves = next(group for group in shown.context["groups"] if group.heading.startswith("moves"))
    (time, *_), *_ = moves.times
    sent = {"starts_at": time.start.isoformat()}
    elsewhere = urlencode({"moves": other.pk, "goes_to": at_clock(8, 0, SATURDAY).isoformat()})

    silent = coordinator.post(address(manned, "to-do-take", flag.pk), sent)
    changed = coordinator.post(f"{address(manned, 'to-do-take', flag.pk)}?{elsewhere}", sent)

    see_all()
    other.refresh_from_db()
    assert (silent.status_code, changed.status_code) == (409, 409)
    assert "What would move with it has changed since you looked; nothing was changed. See the times again." in words(
        changed
    )
    assert other.starts_at == at_clock(9, 0, WEDNESDAY)
    assert Session.objects.filter(resident=resident).count() == 1


def test_every_time_offered_to_a_late_session_lies_on_its_day_and_can_be_taken(manned, look, see_all):
    resident = manned.resident(last_session_ended_at=clock.now())
    session = book(manned, resident, 15)
    with clock.at(at_clock(16, 20)):
        coordinator = look()
        (flag,) = flags(manned, "late")
        times = offered(coordinator.get(address(manned, "to-do-one", flag.pk)))
        last = times["keeps all rules"][-1]
        taken = coordinator.post(address(manned, "to-do-take", flag.pk), {"starts_at": last.isoformat()})

    see_all()
    session.refresh_from_db()
    assert {start.astimezone(manned.building.zone).date() for those in times.values() for start in those} == {MONDAY}
    assert (taken.status_code, session.starts_at) == (302, last)


def test_a_late_session_without_another_time_of_its_day_is_given_up(manned, look):
    book(manned, manned.resident(last_session_ended_at=clock.now()), 15)
    with clock.at(at_clock(16, 50)):
        coordinator = look()
        (flag,) = flags(manned, "late")
        shown = coordinator.get(address(manned, "to-do-one", flag.pk))

    assert shown.context["groups"] == []
    assert "Give it up with the reason, then book another." in words(shown)
