"""A right that ends between asking and making ends the report: nothing is delivered."""

from datetime import timedelta

import pytest

from program import clock
from program.models import Role, User
from reports import actions
from reports.models import Report, Run
from reports.periods import Period
from reports.queries import facts_of, reading
from tests.conftest import MONDAY, House
from tests.program.api.asking import Api, problem_of
from tests.reports.making import make_all, manager_of, see_everywhere

W48 = Period.named("week", "2026-W48")


@pytest.fixture
def manager(arrowfen: House) -> User:
    return manager_of(arrowfen)


def asked_by(person: User, house: House) -> Run:
    return actions.ask_for_reports(by=person, buildings=[house.building], period=W48)


def end_roles(person: User) -> None:
    Role.objects.filter(user=person).update(until=clock.now())


def test_a_role_that_ended_after_asking_delivers_nothing(arrowfen: House, manager: User) -> None:
    run = asked_by(manager, arrowfen)
    with clock.at(MONDAY + timedelta(minutes=1)):
        end_roles(manager)
    with clock.at(MONDAY + timedelta(minutes=2)):
        make_all(run.pk)
        report = Report.objects.get(run=run)
        answer = Api(manager).get(f"reports/{report.pk}/")

    assert (report.state, report.figures, report.made_at) == ("refused", None, None)
    assert report.failure == "The person who asked for this report may no longer make reports of this building."
    assert problem_of(answer) == (404, "not-found")


def test_with_the_role_kept_it_is_delivered(arrowfen: House, manager: User) -> None:
    """The control, to the minute."""
    run = asked_by(manager, arrowfen)
    with clock.at(MONDAY + timedelta(minutes=2)):
        make_all(run.pk)
        report = Report.objects.get(run=run)
        answer = Api(manager).get(f"reports/{report.pk}/")

    assert (report.state, answer.status_code) == ("made", 200)
    assert answer.json()["figures"] == report.figures


def test_a_role_that_ends_while_the_figures_are_added_up_delivers_nothing(arrowfen: House, manager: User) -> None:
    """The steps of making one by one, with the end of the role between the reading and the delivery."""
    run = asked_by(manager, arrowfen)
    report = actions._begun(Report.objects.get(run=run).pk)
    with reading(arrowfen.building):
        figures = actions.figures_of(facts_of(arrowfen.building, W48, report.as_of))
    see_everywhere()
    end_roles(manager)
    actions._deliver(report, figures)
    report.refresh_from_db()

    assert (report.state, report.figures) == ("refused", None)


def test_another_role_that_gives_the_right_is_enough(arrowfen: House, manager: User) -> None:
    run = asked_by(manager, arrowfen)
    end_roles(manager)
    Role.objects.create(user=manager, kind=Role.Kind.COORDINATOR, building=arrowfen.building, since=MONDAY)
    make_all(run.pk)

    assert Report.objects.get(run=run).state == "made"


def test_a_person_whose_account_is_closed_is_delivered_nothing(arrowfen: House, manager: User) -> None:
    run = asked_by(manager, arrowfen)
    User.objects.filter(pk=manager.pk).update(is_active=False)
    make_all(run.pk)

    assert Report.objects.get(run=run).state == "refused"
