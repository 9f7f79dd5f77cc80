"""The days of late entries: which one comes first, what is written and what is not, and whose sessions are here."""

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from program.models import Audit
from tests.program.actions.arranging import booked, train
from tests.program.pages.words import refusal, words

# By the clock of the house: Tuesday ten o'clock, Wednesday four o'clock.
TUE, WED_FOUR = datetime(2026, 12, 1, 15, 0, tzinfo=UTC), datetime(2026, 12, 2, 21, 0, tzinfo=UTC)
HALF_AN_HOUR = timedelta(minutes=30)


@pytest.fixture
def session(arrowfen):
    return booked(arrowfen, arrowfen.resident(), TUE)


def address(house, name="late", *rest):
    return reverse(f"program:{name}", args=[house.building.pk, *(rest or ["2026-12-01"])])


def test_the_newest_day_with_nothing_written_comes_first(arrowfen, session, client_of, at):
    booked(arrowfen, arrowfen.resident(), TUE - timedelta(days=1))
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).get(reverse("program:late-newest", args=[arrowfen.building.pk]))

    assert shown.url == address(arrowfen)


def test_without_a_day_to_write_about_it_is_today(arrowfen, client_of, at):
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).get(reverse("program:late-newest", args=[arrowfen.building.pk]))

    assert shown.url == address(arrowfen, "late", "2026-12-02")


def test_what_is_not_written_stands_above_what_is(arrowfen, session, client_of, see_all, at):
    done = booked(arrowfen, arrowfen.resident(), TUE, first=1)
    with at(TUE + HALF_AN_HOUR):
        train(arrowfen, done, ended_at=TUE + HALF_AN_HOUR)
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).get(address(arrowfen))

    assert [one.session.pk for one in shown.context["unwritten"]] == [session.pk]
    assert [(one.said.session.pk, is_incomplete) for one, is_incomplete in shown.context["written"]] == [
        (done.pk, False)
    ]
    assert f"2 sets. Done by {arrowfen.aide.name}, entered by {arrowfen.aide.name} Tue 1 Dec 10:30." in words(shown)
    see_all()
    seen = Audit.objects.get(action="view", noun="late entries")
    assert sorted(seen.resident_ids) == sorted([session.resident_id, done.resident_id])


def test_a_session_of_another_day_or_house_is_not_here(arrowfen, brindlewharf, session, client_of, at):
    foreign = booked(brindlewharf, brindlewharf.resident(), TUE)
    with at(WED_FOUR):
        aide = client_of(arrowfen.aide)
        assert aide.get(address(arrowfen, "late-session", "2026-12-02", session.pk)).status_code == 404
        assert aide.get(address(arrowfen, "late-session", "2026-12-01", foreign.pk)).status_code == 404
        assert aide.get(address(arrowfen, "late", "2026-13-01")).status_code == 404
        assert aide.get(address(arrowfen, "late", "9999-12-31")).status_code == 404


def test_a_day_to_come_and_a_day_without_sessions_say_so(arrowfen, client_of, at):
    with at(WED_FOUR):
        aide = client_of(arrowfen.aide)
        assert "This day is still to come" in words(aide.get(address(arrowfen, "late", "2026-12-03")))
        assert "No session was planned on this day" in words(aide.get(address(arrowfen)))


def test_the_queries_of_a_day_do_not_grow_with_its_sessions(arrowfen, session, client_of, queries, see_all, at):
    with at(WED_FOUR):
        aide = client_of(arrowfen.aide)
        few = queries(aide, address(arrowfen))
        see_all()
        for number in range(6):
            train(
                arrowfen,
                booked(arrowfen, arrowfen.resident(), TUE + number * HALF_AN_HOUR, first=1),
                ended_at=TUE + (number + 1) * HALF_AN_HOUR,
            )
        assert queries(aide, address(arrowfen)) == few == 12


@pytest.mark.parametrize(("asked", "status"), [("", 200), ("?resident=", 422), ("?resident=999999", 422)])
def test_the_resident_of_an_unplanned_visit_is_chosen_first(arrowfen, session, client_of, at, asked, status):
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).get(address(arrowfen, "late-unplanned") + asked)

    assert (shown.status_code, shown.context["residents"]) == (status, [session.resident])
    assert refusal(shown) == ("Choose the resident first." if status == 422 else "")
