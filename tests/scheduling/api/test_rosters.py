"""Rosters by the API: asked for, watched, compared, published."""

import pytest

from program.models import Audit, Hours, Session
from program.rules.week import Week
from scheduling.actions import start_roster
from scheduling.load import load_week
from scheduling.models import Roster
from scheduling.problem import write_problem, write_roster
from scheduling.solver import solve
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import at, booked
from tests.program.api.asking import Api, problem_of

NOTHING = (404, "not-found")
REFUSED = (403, "not-allowed")
WEEK = Week.named("2026-W49")


@pytest.fixture
def staffed(arrowfen: House) -> House:
    """One person on the circuit all day, Monday to Saturday."""
    for day in range(6):
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, at(arrowfen, day, 0).date(), 480, 1020)
    return arrowfen


def draft(house: House) -> Roster:
    """As a worker leaves it: solved, and not yet published."""
    roster = start_roster(building=house.building, week=WEEK, by=house.coordinator)
    problem = load_week(building=house.building, week=WEEK).problem
    roster.problem, roster.answer = write_problem(problem), write_roster(solve(problem, seconds=5))
    roster.state = Roster.State.DRAFT
    roster.save()
    return roster


def test_a_roster_is_asked_for_and_its_address_tells_how_far_it_is(staffed: House, stranger) -> None:
    sent = {"building": staffed.building.pk, "week": "2026-W49", "seconds": 5}

    assert problem_of(Api(stranger).post("rosters/", sent)) == (422, "invalid")
    assert problem_of(Api(staffed.aide).post("rosters/", sent)) == REFUSED
    answer = Api(staffed.coordinator).post("rosters/", sent)

    assert (answer.status_code, answer.json()["state"]) == (202, "waiting")
    told = Api(staffed.aide).client.get(answer.headers["Location"]).json()
    assert (told["week"], told["state"], told["answer"]) == ("2026-W49", "waiting", None)


def test_a_week_that_is_over_is_refused(staffed: House) -> None:
    answer = Api(staffed.coordinator).post("rosters/", {"building": staffed.building.pk, "week": "2026-W01"})

    assert problem_of(answer) == (409, "week-is-over")


def test_a_draft_is_shown_with_its_answer_and_the_look_is_on_record(staffed: House, stranger) -> None:
    rose = staffed.resident()
    roster = draft(staffed)

    assert problem_of(Api(stranger).get(f"rosters/{roster.pk}/")) == NOTHING
    told = Api(staffed.aide).get(f"rosters/{roster.pk}/").json()

    assert {session["resident"] for session in told["answer"]["sessions"]} == {str(rose.pk)}
    assert [*Audit.objects.filter(action="view").values_list("noun", "resident_ids")] == [("roster", [rose.pk])]


def test_a_draft_is_compared_with_what_stands(staffed: House, stranger) -> None:
    standing = booked(staffed, staffed.resident(), at(staffed, 0, 600))
    rose = staffed.resident(sessions_a_week=1)
    roster = draft(staffed)
    path = f"rosters/{roster.pk}/compare/"

    assert problem_of(Api(stranger).get(path)) == NOTHING
    told = Api(staffed.aide).get(path).json()

    assert [row["session"] for row in told["kept"]] == [standing.pk]
    assert [row["resident"] for row in told["new"]].count(rose.pk) == 1
    assert (told["moved"], told["withdrawn"]) == ([], [])


def test_a_roster_that_is_not_built_cannot_be_compared(staffed: House) -> None:
    roster = start_roster(building=staffed.building, week=WEEK, by=staffed.coordinator)

    assert problem_of(Api(staffed.aide).get(f"rosters/{roster.pk}/compare/")) == (409, "roster-not-draft")


def test_a_coordinator_publishes_a_draft(staffed: House, stranger) -> None:
    staffed.resident()
    roster = draft(staffed)
    path = f"rosters/{roster.pk}/publish/"

    assert problem_of(Api(stranger).post(path, of=roster)) == NOTHING
    assert problem_of(Api(staffed.aide).post(path, of=roster)) == REFUSED
    assert problem_of(Api(staffed.coordinator).post(path)) == (428, "version-missing")
    answer = Api(staffed.coordinator).post(path, of=roster)

    assert (answer.status_code, answer.json()["roster"]["state"]) == (200, "published")
    assert answer.headers["ETag"] == f'"{roster.pk}-2"'
    assert sorted(answer.json()["booked"]) == [*Session.objects.order_by("pk").values_list("pk", flat=True)]


def test_sessions_that_are_left_out_are_not_booked(staffed: House) -> None:
    staffed.resident()
    roster = draft(staffed)
    answer = Api(staffed.coordinator).post(f"rosters/{roster.pk}/publish/", {"without": [0]}, of=roster)

    assert len(answer.json()["booked"]) == len(roster.answer["sessions"]) - 1


def test_a_draft_that_has_been_overtaken_books_nothing_and_names_what_is_in_the_way(staffed: House) -> None:
    rose = staffed.resident()
    roster = draft(staffed)
    Hours.objects.of(staffed.building).filter(kind="open").delete()
    answer = Api(staffed.coordinator).post(f"rosters/{roster.pk}/publish/", of=roster)

    assert problem_of(answer) == (409, "roster-clashes")
    assert [clash["resident"] for clash in answer.json()["clashes"]] == [rose.pk, rose.pk]
    assert answer.json()["clashes"][0]["starts_at"].endswith("-05:00")
    assert not Session.objects.exists()
