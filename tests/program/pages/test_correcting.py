"""Taking back what was written by mistake: it stays on record and counts no longer."""

import pytest
from django.urls import reverse

from program.models import Record, Set
from tests.program.api.asking import Api, problem_of
from tests.program.pages.at_nine import as_it_is, begin, nine, rose, save, session, staff
from tests.program.pages.words import refusal

__all__ = ["nine", "rose", "session", "staff"]


@pytest.fixture
def done(staff, session, see_all):
    begin(staff, session)
    save(staff, session)
    save(staff, session, place=1)
    see_all()
    return session


def correct(client, session, **typed):
    return client.post(reverse("program:session-correct", args=[session.building_id, session.pk]), typed)


def test_a_coordinator_takes_back_a_set_and_says_why(arrowfen, client_of, done, see_all):
    wrong = done.sets.order_by("pk").first()
    answer = correct(client_of(arrowfen.coordinator), done, sets=[wrong.pk], because="the wrong station")

    assert (answer.status_code, as_it_is(done, see_all).sets_done) == (302, 1)
    kept = Set.objects.get(pk=wrong.pk)
    assert (kept.replaced_by, kept.replaced_because) == (arrowfen.coordinator, "the wrong station")


def test_once_all_is_taken_back_the_session_is_open_again(arrowfen, client_of, done, see_all):
    sets = list(done.sets.values_list("pk", flat=True))
    lines = list(done.records.filter(kind="started").values_list("pk", flat=True))
    coordinator = client_of(arrowfen.coordinator)
    assert correct(coordinator, done, sets=sets, records=lines, because="another person").status_code == 302

    fresh = as_it_is(done, see_all)
    assert (fresh.started_at, fresh.sets_done, fresh.held_from) == (None, 0, fresh.starts_at)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"because": "a slip"}, "Choose at least one line that was a mistake."),
        ({}, "Why was it a mistake?: Fill this in."),
    ],
)
def test_without_a_line_or_a_reason_nothing_is_taken_back(arrowfen, client_of, done, see_all, typed, sentence):
    answer = correct(client_of(arrowfen.coordinator), done, **typed)

    assert (answer.status_code, refusal(answer)) == (422, sentence)
    assert as_it_is(done, see_all).sets_done == 2


def test_staff_may_not_and_the_api_keeps_to_lines_of_this_session(arrowfen, client_of, done):
    assert correct(client_of(arrowfen.aide), done, because="a slip").status_code == 403
    published = Record.objects.get(session=done, kind="published")
    sent = {"records": [published.pk], "because": "a slip"}
    done.refresh_from_db()
    answer = Api(arrowfen.coordinator).post(f"sessions/{done.pk}/take-back/", sent, of=done)

    assert problem_of(answer) == (422, "invalid")
    assert answer.json()["detail"] == "A line of the plan cannot be taken back. Change the plan instead."
