"""How long a month's reports take at six and at sixty buildings, made one after the other by a single worker."""

from time import monotonic

import pytest

from program import clock
from program.models import Session, Set
from reports.actions import ask_for_reports
from reports.models import Report
from reports.periods import Period
from reports.tasks import make_due
from tests.benchmarks.buildings import month_of
from tests.reports.making import make_all, see_everywhere
from tests.walkthroughs.following import wall

NOVEMBER = Period.named("month", "2026-11")
RESIDENTS = 96


@pytest.mark.django_db
@pytest.mark.parametrize("count", [6, 60])
def test_a_month_of_reports(count: int, capsys: pytest.CaptureFixture[str]) -> None:
    manager, buildings = month_of(count, RESIDENTS)
    with clock.at(wall("2026-12-01T01:00")):
        began = monotonic()
        run = ask_for_reports(by=manager, buildings=buildings, period=NOVEMBER)
        asked = monotonic() - began
        make_all(run.pk)
        made = monotonic() - began - asked
        beat = _beat()
    figures = list(Report.objects.filter(run=run, state="made").values_list("figures", flat=True))
    sessions, sets = Session.objects.count(), Set.objects.count()

    assert len(figures) == count
    assert sum(one["attendance"]["published"] for one in figures) == sessions
    assert sum(one["attendance"]["done"] for one in figures) * 5 == sets
    told = [
        f"{count:3} buildings of {RESIDENTS} residents, {sessions} sessions, {sets} sets",
        f"asked in {asked:5.2f} s, made in {made:6.1f} s, {1000 * made / count:5.0f} ms a building",
        f"a beat with nothing due {beat:5.2f} s",
    ]
    with capsys.disabled():
        print("\n" + " | ".join(told))  # noqa: T201 - the figures are what a benchmark is for


def _beat() -> float:
    """A second beat, after the first has asked for everything."""
    make_due()
    began = monotonic()
    make_due()
    taken = monotonic() - began
    see_everywhere()
    return taken
