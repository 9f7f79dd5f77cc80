"""The chain from asking to the last report, as workers run it, and what beat knows of it."""

from datetime import timedelta

import pytest

from program import clock
from program.config.celery import app
from reports.models import Report, Run
from reports.periods import Period
from reports.tasks import request_again, request_reports, resume
from tests.conftest import MONDAY, House
from tests.reports.making import see_everywhere

W48 = Period.named("week", "2026-W48")


@pytest.fixture
def eager(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tasks run where they are sent; no queue is asked."""
    monkeypatch.setattr(app.conf, "task_always_eager", True)
    monkeypatch.setattr(app.conf, "task_eager_propagates", True)


def request(house: House) -> Run:
    return request_reports(by=house.coordinator, buildings=[house.building], period=W48)


def test_nothing_is_sent_before_the_asking_is_committed(
    arrowfen: House, django_capture_on_commit_callbacks: object
) -> None:
    with django_capture_on_commit_callbacks() as callbacks:
        run = request(arrowfen)
        assert Report.objects.get(run=run).state == "waiting"

    assert [callback.args for callback in callbacks] == [(run.pk,)]


@pytest.mark.usefixtures("eager")
def test_once_committed_every_report_is_made(arrowfen: House, django_capture_on_commit_callbacks: object) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        run = request(arrowfen)
    see_everywhere()
    first = Report.objects.get(run=run)
    with django_capture_on_commit_callbacks(execute=True):
        again = request_again(report=first, by=arrowfen.coordinator)
    see_everywhere()

    assert (first.state, Report.objects.get(run=again).figures) == ("made", first.figures)


@pytest.mark.usefixtures("eager")
def test_what_was_never_sent_is_made_by_the_beat(arrowfen: House) -> None:
    """As where the queue could not be reached when the asking was committed."""
    run = request(arrowfen)
    resume()
    see_everywhere()
    assert Report.objects.get(run=run).state == "waiting"
    with clock.at(MONDAY + timedelta(minutes=2)):
        resume()
    see_everywhere()

    assert Report.objects.get(run=run).state == "made"


def test_beat_knocks_at_tasks_that_there_are() -> None:
    app.loader.import_default_modules()
    knocked = {entry["task"] for entry in app.conf.beat_schedule.values() if entry["task"].startswith("reports.")}

    assert knocked == {"reports.tasks.make_due", "reports.tasks.resume"}
    assert knocked <= set(app.tasks)
