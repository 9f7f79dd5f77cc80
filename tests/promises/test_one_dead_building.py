"""One building that cannot be read holds up no other, is tried three times, and says so."""

from datetime import timedelta
from zoneinfo import ZoneInfoNotFoundError

import psycopg
import pytest
from django.db import ProgrammingError, connection, transaction

from program import clock
from program.actions.locks import REPORT
from program.models import Building
from reports import actions
from reports.models import Report, Run
from reports.periods import Period
from reports.tasks import make, make_due
from tests.conftest import MONDAY, House, build_house
from tests.promises.test_scheduled_once import begun
from tests.reports.making import make_all, see_everywhere
from tests.walkthroughs.following import wall

W48 = Period.named("week", "2026-W48")


@pytest.fixture
def three(arrowfen: House) -> list[House]:
    return [arrowfen, *[build_house(name, region=arrowfen.building.region) for name in ("Brindlewharf", "Coppermere")]]


def kill(house: House) -> None:
    """A time zone that is nowhere: whatever reads the building's days breaks."""
    Building.objects.filter(pk=house.building.pk).update(timezone="Nowhere/Atall")


def asked(three: list[House]) -> Run:
    return actions.ask_for_reports(by=three[0].coordinator, buildings=[one.building for one in three], period=W48)


@pytest.fixture
def run(three: list[House]) -> Run:
    """Asked for by somebody who answers for all three, of which the middle one dies before it is made."""
    coordinator = three[0].coordinator
    for house in three[1:]:
        coordinator.roles.create(kind="coordinator", building=house.building, since=MONDAY)
    run = asked(three)
    kill(three[1])
    return run


def states(run: Run) -> list[str]:
    return [*Report.objects.filter(run=run).order_by("building__name").values_list("state", flat=True)]


def attempt(run: Run) -> int:
    """What `spread` or `resume` sends, made by workers; how many of them broke."""
    broken = 0
    for report_id, building_id in actions.reports_of_run(run.pk):
        try:
            make(report_id, building_id)
        except ZoneInfoNotFoundError:
            broken += 1
    see_everywhere()
    return broken


def test_the_others_are_made_and_the_dead_one_fails_after_three_starts(run: Run) -> None:
    told = [(attempt(run), states(run)) for _ in range(4)]

    assert told == [
        (1, ["made", "waiting", "made"]),
        (1, ["made", "waiting", "made"]),
        (1, ["made", "failed", "made"]),
        (0, ["made", "failed", "made"]),
    ]
    dead = Report.objects.get(run=run, state="failed")
    assert (dead.starts, dead.figures) == (3, None)
    assert dead.failure == "Making this report failed three times. Make it again; if that fails too, ask for help."


def test_without_a_dead_one_all_are_made_at_once(three: list[House]) -> None:
    """The control."""
    for house in three[1:]:
        three[0].coordinator.roles.create(kind="coordinator", building=house.building, since=MONDAY)
    run = asked(three)
    make_all(run.pk)

    assert states(run) == ["made", "made", "made"]


def test_what_nobody_has_begun_is_sent_again_and_so_is_what_has_lost_its_worker(run: Run) -> None:
    assert actions.lost_reports() == []
    with clock.at(MONDAY + timedelta(seconds=30)):
        lost = actions.lost_reports()
        assert attempt(run) == 1
    # The dead one was begun, and no living process holds its lock.
    with clock.at(MONDAY + timedelta(seconds=60)):
        again = actions.lost_reports()
    see_everywhere()

    assert lost == [*Report.objects.order_by("pk").values_list("pk", "building_id")]
    assert again == [*Report.objects.filter(state="waiting").values_list("pk", "building_id")]


def test_a_report_that_somebody_makes_is_neither_made_twice_nor_lost(run: Run) -> None:
    report = Report.objects.filter(run=run).order_by("pk").first()
    Report.objects.filter(pk=report.pk).update(starts=1, started_at=MONDAY - timedelta(seconds=30))
    with psycopg.connect(**connection.get_connection_params() | {"cursor_factory": psycopg.ClientCursor}) as other:
        other.execute("SELECT pg_advisory_lock(%s, %s)", [REPORT, report.pk])
        actions.make_report(report_id=report.pk, building_id=report.building_id)

        assert actions.lost_reports() == []
    see_everywhere()
    report.refresh_from_db()
    assert (report.state, report.starts) == ("waiting", 1)
    assert actions.lost_reports() == [(report.pk, report.building_id)]


def test_a_killed_worker_counts_as_a_start_and_the_fourth_puts_the_report_aside(three: list[House]) -> None:
    run = actions.ask_for_reports(by=three[0].coordinator, buildings=[three[0].building], period=W48)
    report = Report.objects.get(run=run)
    for _ in range(3):
        assert actions._begun(report.pk) is not None
    assert actions._begun(report.pk) is None
    report.refresh_from_db()

    assert (report.state, report.starts) == ("failed", 3)


def test_the_schedule_passes_over_a_dead_building(
    three: list[House], django_capture_on_commit_callbacks: object, caplog: pytest.LogCaptureFixture
) -> None:
    for house in three:
        begun(house, "2026-10-05T10:00")
    kill(three[1])
    with clock.at(wall("2026-11-02T00:00")), django_capture_on_commit_callbacks():
        make_due()
    see_everywhere()

    asked_for = Report.objects.values_list("building_id", flat=True)
    assert sorted(set(asked_for)) == sorted([three[0].building.pk, three[2].building.pk])
    assert [record.getMessage() for record in caplog.records if record.name == "reports.tasks"] == [
        f"The reports that are due could not be asked for in building {three[1].building.pk}."
    ]


def test_making_twice_changes_nothing_and_a_made_report_cannot_be_changed(three: list[House]) -> None:
    run = actions.ask_for_reports(by=three[0].coordinator, buildings=[three[0].building], period=W48)
    make_all(run.pk)
    first = Report.objects.get(run=run)
    with clock.at(MONDAY + timedelta(hours=1)):
        make(first.pk, first.building_id)
    see_everywhere()
    second = Report.objects.get(run=run)

    assert (second.made_at, second.starts, second.figures) == (first.made_at, 1, first.figures)
    with pytest.raises(ProgrammingError, match="A report that was made cannot be changed"), transaction.atomic():
        Report.objects.filter(pk=first.pk).update(failure="Changed.")


def test_a_report_that_broke_is_given_time_before_it_is_begun_again(run: Run) -> None:
    """A database that is away for minutes must not cost a report all its starts."""

    def lost_after(seconds: int) -> int:
        with clock.at(MONDAY + timedelta(seconds=seconds)):
            count = len(actions.lost_reports())
        see_everywhere()
        return count

    attempt(run)
    assert [lost_after(seconds) for seconds in (0, 29, 30)] == [0, 0, 1]
    attempt(run)
    assert [lost_after(seconds) for seconds in (30, 299, 300)] == [0, 0, 1]


def test_the_schedule_asks_again_for_what_failed_once_a_day(three: list[House]) -> None:
    house = begun(three[0], "2026-10-05T10:00")
    midnight = wall("2026-11-02T00:00")

    def asks(hours: int) -> int:
        with clock.at(midnight + timedelta(hours=hours)):
            due = actions.ask_for_due_reports(building=house.building)
        return len(due)

    assert asks(0) == 3
    Report.objects.filter(period_name="2026-W44").update(state="failed", starts=3, failure="Failed.")
    assert [asks(hours) for hours in (1, 23, 24, 25)] == [0, 0, 1, 0]
    again = Report.objects.get(period_name="2026-W44")
    assert (again.state, again.starts, again.failure, again.as_of) == ("waiting", 0, "", midnight)


def test_what_failed_can_be_made_again_by_hand(run: Run) -> None:
    for _ in range(3):
        attempt(run)
    dead = Report.objects.get(run=run, state="failed")
    Building.objects.filter(pk=dead.building_id).update(timezone="America/New_York")
    dead = Report.objects.select_related("building").get(pk=dead.pk)
    again = actions.remake(report=dead, by=run.asked_by)
    make_all(again.pk)

    assert (states(again), again.as_of) == (["made"], dead.as_of)
