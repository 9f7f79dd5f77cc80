"""A killed worker changes nothing: each task killed at statement 1, 2, … until it completes, then taken up again."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.db import transaction

from program import clock
from program.models import Audit, Building, scope
from program.rules.week import Week
from reports import tasks as report_tasks
from reports.actions import ask_for_reports
from reports.models import Report
from reports.periods import Period
from scheduling import tasks
from scheduling.actions import start_roster
from scheduling.models import Flag, Roster
from tests.browser.conftest import settled_house
from tests.conftest import MONDAY, House
from tests.nightly.killing import COMPLETED, DIED, run_and_die
from tests.program.actions.arranging import booked

pytestmark = pytest.mark.django_db(transaction=True)
MOST_STATEMENTS = 400


@dataclass
class Job:
    """Something to be done once: how it is asked for, what does it, and what there is afterwards."""

    ask: Callable[[], int]
    work: Callable[[int], None]
    effects: Callable[[int], object]


@pytest.fixture
def house(transactional_db: None) -> House:
    with transaction.atomic():
        house = settled_house(6)
        for place, resident in enumerate(house.residents[:4]):
            booked(house, resident, MONDAY + timedelta(hours=3 + place))
    return house


def everywhere() -> list[int]:
    return list(Building.objects.values_list("pk", flat=True))


def a_roster(house: House) -> Job:
    def ask() -> int:
        with scope(everywhere(), user_id=house.coordinator.pk):
            week = Week.of(clock.now() + timedelta(days=7), house.building.zone)
            return start_roster(building=house.building, week=week, by=house.coordinator, seconds=1).pk

    def effects(pk: int) -> object:
        with scope(everywhere()):
            roster = Roster.objects.get(pk=pk)
            built = Audit.objects.filter(noun="roster", row_id=str(pk), after__state="draft").count()
            return roster.state, len(roster.answer["sessions"]) > 0, built

    return Job(ask, lambda pk: tasks.fill_roster(pk, house.building.pk), effects)


def a_report(house: House) -> Job:
    def ask() -> int:
        period = Period.holding("week", clock.now().date() - timedelta(days=7))
        with scope(everywhere(), user_id=house.coordinator.pk):
            run = ask_for_reports(by=house.coordinator, buildings=[house.building], period=period)
            return run.reports.get().pk

    def effects(pk: int) -> object:
        with scope(everywhere()):
            report = Report.objects.get(pk=pk)
            return (
                report.state,
                report.figures["attendance"]["published"],
                Report.objects.filter(run=report.run).count(),
            )

    return Job(ask, lambda pk: report_tasks.make(pk, house.building.pk), effects)


def the_flags(house: House) -> Job:
    def ask() -> int:
        with scope(everywhere()):
            Flag.objects.update(closed_at=clock.now())
        return house.building.pk

    def effects(pk: int) -> object:
        with scope(everywhere()):
            standing = Flag.objects.filter(closed_at__isnull=True)
            return sorted(standing.values_list("kind", "cause"))

    return Job(ask, lambda pk: tasks.refresh_flags([pk]), effects)


@pytest.mark.parametrize("job_of", [a_roster, a_report, the_flags])
def test_a_task_killed_at_any_statement_has_its_effects_once(house: House, job_of: Callable[[House], Job]) -> None:
    job = job_of(house)
    with clock.at(MONDAY + timedelta(hours=8)):
        undisturbed = job.ask()
        job.work(undisturbed)
        should = job.effects(undisturbed)
        killed = 0
        for statement in range(1, MOST_STATEMENTS):
            asked = job.ask()
            if run_and_die(lambda asked=asked: job.work(asked), statement) == COMPLETED:
                break
            killed += 1
            # Delivered again, and once more than needed.
            job.work(asked)
            job.work(asked)
            assert job.effects(asked) == should, f"killed at statement {statement}"

    print(f"{job_of.__name__}: killed at {killed} statements, effects once at {killed}")  # noqa: T201 - the figure
    assert killed > 3


def test_the_kill_is_a_kill(house: House) -> None:
    """The control: without being taken up again, what was killed on the way is not done."""
    job = a_report(house)
    with clock.at(MONDAY + timedelta(hours=8)):
        asked = job.ask()

        assert run_and_die(lambda: job.work(asked), 6) == DIED
        with scope(everywhere()):
            assert Report.objects.get(pk=asked).state == Report.State.WAITING
