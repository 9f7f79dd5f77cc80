"""What is done while the circuit closes, seen afterwards, or saved by two phones: nothing is turned away or doubled."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from program import clock
from program.models import Hold, Incident
from program.rules.week import local_instant
from tests.program.api.arranging import booked
from tests.program.pages.at_nine import address, as_it_is, begin, nine, rose, save, sent, session, staff

__all__ = ["nine", "rose", "session", "staff"]


@pytest.fixture
def after_closing(arrowfen, rose, client_of, see_all):
    """Begun at 16:40 with one set, and the circuit closes at 17:00: now it is 17:02."""
    late = booked(arrowfen, rose, local_instant(date(2026, 11, 30), 16 * 60 + 30, arrowfen.building.zone))
    with clock.at(late.starts_at + timedelta(minutes=10)):
        aide = client_of(arrowfen.aide)
        begin(aide, late)
        save(aide, late)
    with clock.at(late.day_closes_at + timedelta(minutes=2)):
        yield aide, late


def test_a_set_that_was_done_while_the_circuit_closed_can_still_be_saved(after_closing, see_all):
    aide, late = after_closing

    assert "the session ended by itself. What was done can be written down here until midnight" in aide.get(
        address(late)
    ).content.decode().replace("\n", " ")
    assert save(aide, late, place=1).status_code == 302
    assert as_it_is(late, see_all).sets_done == 2


def test_a_warning_sign_is_taken_after_closing_too(after_closing, see_all):
    aide, late = after_closing

    assert sent(aide, late, "warning", sign="chest pain").status_code == 302
    see_all()
    assert (Incident.objects.count(), Hold.objects.count()) == (1, 1)


def test_a_warning_sign_is_taken_whatever_was_written_of_the_session(arrowfen, staff, session, see_all):
    assert sent(staff, session, "give-up", reason="declined").status_code == 302

    assert sent(staff, session, "warning", sign="dizziness").status_code == 302
    see_all()
    assert Incident.objects.count() == 1


def test_a_second_set_at_a_station_is_refused_and_the_first_is_named(arrowfen, staff, session, client_of, see_all):
    begin(staff, session)
    assert save(staff, session).status_code == 302
    again = save(client_of(arrowfen.coordinator), session, repetitions="8")

    assert again.status_code == 409
    assert f"A set is saved here already, by {arrowfen.aide.name}" in again.content.decode()
    assert as_it_is(session, see_all).sets_done == 1


def test_the_day_after_what_is_missing_is_added_as_a_late_entry(arrowfen, after_closing, client_of, see_all):
    _, late = after_closing
    with clock.at(late.day_closes_at + timedelta(hours=16)):
        aide = client_of(arrowfen.aide)
        page = aide.get(address(late)).content.decode()
        form = aide.get(reverse("program:late-session", args=[late.building_id, "2026-11-30", late.pk]))

    assert "Add what is missing" in page
    see_all()
    lines = list(late.prescription.lines.order_by("position"))
    assert f"line-{lines[0].pk}" not in form.content.decode()
    assert f"line-{lines[1].pk}" in form.content.decode()
