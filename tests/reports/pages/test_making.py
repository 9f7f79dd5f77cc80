"""Asking for reports, and the page that says how far they are."""

import pytest
from django.test import Client

from program.models import Role
from reports.models import Report, Run
from tests import factories
from tests.program.pages.words import words
from tests.reports.pages import invented
from tests.reports.pages.conftest import see_everything

NOVEMBER = {"period_kind": "month", "period_name": "2026-11"}


@pytest.fixture
def run(six) -> Run:
    """Asked for all six: two made, one failed, three waiting."""
    asked = invented.asked(six.manager)
    for name in ("Arrowfen", "Brindlewharf"):
        invented.report(six[name], run=asked)
    invented.report(six["Coppermere"], run=asked, state="failed", failure="It took too long.")
    for name in ("Dunholt", "Eskerby", "Fallowmere"):
        invented.report(six[name], run=asked, state="waiting")
    return asked


def look(client: Client, run: Run, **headers: str):
    return client.get(f"/reports/runs/{run.pk}/progress/", headers=headers)


def test_a_manager_asks_for_all_buildings_of_the_region(six, manager):
    answer = manager.post("/reports/make/", NOVEMBER)

    see_everything()
    run = Run.objects.get()
    assert (answer.url, run.asked_by) == (f"/reports/runs/{run.pk}/", six.manager)
    assert {report.building.name for report in run.reports.all()} == set(six.buildings)


def test_pressed_twice_it_is_asked_once(six, manager):
    first = manager.post("/reports/make/", NOVEMBER)

    assert manager.post("/reports/make/", NOVEMBER).url == first.url
    see_everything()
    assert Run.objects.count() == 1


def test_a_clinician_reads_reports_and_makes_none(six, client_of):
    clinician = client_of(factories.with_role(six["Arrowfen"], Role.Kind.CLINICIAN))

    assert clinician.post("/reports/make/", NOVEMBER).status_code == 403
    assert clinician.get("/reports/month/2026-11/").context["may_make"] is False


def test_an_asking_without_a_period_is_refused_with_a_sentence(six, manager):
    answer = manager.post("/reports/make/", {})

    assert answer.status_code == 422
    assert "A report is about a week or a month. Choose one of them." in words(answer)


def test_the_page_says_how_many_are_made_and_which_failed(run, manager):
    shown = words(manager.get(f"/reports/runs/{run.pk}/"))

    assert "2 of 6 buildings made, 1 failed." in shown
    assert "Coppermere : It took too long." in shown


def test_the_part_that_looks_by_itself_goes_on_until_all_are_done(run, manager):
    at_work = look(manager, run, **{"HX-Request": "true"})
    see_everything()
    Report.objects.filter(run=run, state="waiting").update(state="refused", failure="Your role there has ended.")
    finished = look(manager, run, **{"HX-Request": "true"})

    assert (at_work.status_code, finished.status_code) == (200, 286)
    assert words(at_work).startswith("2 of 6 buildings made, 1 failed.")
    assert words(finished).startswith("2 of 6 buildings made, 1 failed, 3 refused.")
    assert "See November 2026 side by side" in words(finished)
    assert 'value="3"' in at_work.content.decode()


def test_without_script_the_part_leads_to_the_page(run, manager):
    assert look(manager, run).url == f"/reports/runs/{run.pk}/"


def test_of_a_run_a_coordinator_sees_their_own_building(run, six, client_of):
    coordinator = client_of(factories.with_role(six["Arrowfen"], Role.Kind.COORDINATOR))

    shown = words(coordinator.get(f"/reports/runs/{run.pk}/"))

    assert "1 of 1 building made." in shown
    assert "Coppermere" not in shown


def test_a_run_elsewhere_is_not_there(elsewhere, manager):
    asked = invented.asked(None)
    invented.report(elsewhere.building, run=asked)

    assert manager.get(f"/reports/runs/{asked.pk}/").status_code == 404
