"""The schedule asks for each week and month of a building once: two beats, jumping clocks, a beat that was down."""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

import pytest
from django.db import transaction

from program import clock
from program.models import scope
from reports.actions import ASK_ONCE, ask_for_due_reports
from reports.models import Report
from reports.periods import Period
from reports.tasks import make_due
from tests.conftest import House, build_house
from tests.program.actions.arranging import booked
from tests.promises.conftest import OWNER, Doorway
from tests.promises.racing import at_once, everywhere, tell
from tests.reports.making import see_everywhere
from tests.walkthroughs.following import wall

STEP = timedelta(minutes=30)
Asked = dict[tuple[int, str, str], datetime]


def begun(house: House, start: str) -> House:
    """A house whose first session was published for that moment."""
    with clock.at(wall(start) - timedelta(days=1)):
        booked(house, house.resident(), wall(start).astimezone(UTC))
    return house


def beat(house: House) -> int:
    with scope([house.building.pk]):
        return len(ask_for_due_reports(building=house.building))


def beats(houses: Iterable[House], moments: Iterable[datetime]) -> None:
    for moment in moments:
        with clock.at(moment):
            for house in houses:
                beat(house)
    see_everywhere()


def every(step: timedelta, start: str, until: str) -> Iterator[datetime]:
    moment, end = wall(start).astimezone(UTC), wall(until).astimezone(UTC)
    while moment <= end:
        yield moment
        moment += step


def asked() -> Asked:
    rows = Report.objects.filter(is_scheduled=True)
    told = Counter((row.building_id, row.period_kind, row.period_name) for row in rows)
    assert [key for key, count in told.items() if count != 1] == []
    return {(row.building_id, row.period_kind, row.period_name): row.asked_at for row in rows}


@pytest.fixture
def autumn(arrowfen: House) -> House:
    return begun(arrowfen, "2026-10-05T10:00")


def test_the_night_the_clocks_go_back_ends_the_month_and_the_week_once_each(autumn: House) -> None:
    beats([autumn], every(STEP, "2026-10-31T22:00", "2026-11-02T02:00"))
    key = autumn.building.pk

    assert asked() == {
        (key, "week", "2026-W42"): wall("2026-10-31T22:00"),
        (key, "week", "2026-W43"): wall("2026-10-31T22:00"),
        (key, "month", "2026-10"): wall("2026-11-01T00:00"),
        (key, "week", "2026-W44"): wall("2026-11-02T00:00"),
    }
    week = Report.objects.get(period_name="2026-W44")
    # 169 hours: Monday to Monday across the hour that came twice.
    assert (week.ends_at - week.starts_at, week.as_of) == (timedelta(hours=169), wall("2026-11-02T00:00"))


def test_the_night_the_clocks_go_forward_ends_the_week_once(arrowfen: House) -> None:
    house = begun(arrowfen, "2027-03-10T10:00")
    beats([house], every(STEP, "2027-03-13T22:00", "2027-03-15T02:00"))

    assert asked() == {(house.building.pk, "week", "2027-W10"): wall("2027-03-15T00:00")}
    week = Report.objects.get()
    assert week.ends_at - week.starts_at == timedelta(hours=167)


def test_each_building_ends_its_week_at_its_own_midnight(autumn: House) -> None:
    honolulu = begun(build_house("Driftmoor", timezone="Pacific/Honolulu"), "2026-10-05T16:00")
    beats([autumn, honolulu], every(STEP, "2026-11-01T23:00", "2026-11-02T06:00"))

    told = asked()
    assert told[autumn.building.pk, "week", "2026-W44"] == wall("2026-11-02T00:00")
    assert told[honolulu.building.pk, "week", "2026-W44"] == wall("2026-11-02T05:00")


@pytest.mark.parametrize("jump", [timedelta(hours=1), timedelta(hours=-1)])
def test_a_clock_that_jumps_an_hour_asks_for_nothing_twice_and_misses_nothing(autumn: House, jump: timedelta) -> None:
    before = every(STEP, "2026-11-01T22:00", "2026-11-02T00:30")
    jumped = (moment + jump for moment in every(STEP, "2026-11-01T23:00", "2026-11-02T00:30"))
    beats([autumn], [*before, *jumped, *every(STEP, "2026-11-01T23:30", "2026-11-02T03:00")])

    assert {name for _, kind, name in asked() if kind == "week"} == {"2026-W42", "2026-W43", "2026-W44"}


def test_a_beat_that_was_down_for_three_hours_has_missed_nothing(autumn: House) -> None:
    beats([autumn], every(STEP, "2026-11-01T22:00", "2026-11-01T23:30"))
    assert (autumn.building.pk, "week", "2026-W44") not in asked()
    beats([autumn], every(STEP, "2026-11-02T02:30", "2026-11-02T03:30"))

    assert asked()[autumn.building.pk, "week", "2026-W44"] == wall("2026-11-02T02:30")
    # As of its midnight all the same.
    assert Report.objects.get(period_name="2026-W44").as_of == wall("2026-11-02T00:00")


def test_a_building_that_has_not_begun_is_asked_for_nothing(arrowfen: House) -> None:
    beats([arrowfen], [wall("2026-12-07T00:00")])
    assert asked() == {}
    beats([begun(arrowfen, "2026-12-02T10:00")], [wall("2026-12-07T00:00")])

    assert {name for _, _, name in asked()} == {"2026-W49"}


def test_the_task_sends_one_report_each_and_the_next_beat_none(
    autumn: House, django_capture_on_commit_callbacks: object
) -> None:
    with clock.at(wall("2026-11-02T00:00")):
        with django_capture_on_commit_callbacks() as first:
            make_due()
        with django_capture_on_commit_callbacks() as second:
            make_due()
    see_everywhere()

    assert [callback.args for callback in first] == [
        (pk, autumn.building.pk) for pk in Report.objects.order_by("pk").values_list("pk", flat=True)
    ]
    assert (len(first), len(second)) == (3, 0)


@pytest.mark.django_db(transaction=True)
def test_many_beats_at_once_ask_once(real_house: House) -> None:
    with scope(everywhere()):
        begun(real_house, "2026-10-05T10:00")
    with clock.at(wall("2026-11-02T00:00")):
        told = at_once([lambda: len(ask_for_due_reports(building=real_house.building))] * 8, is_one_blow=True)

    # Two weeks and the month, by whichever beats came first.
    assert sum(told) == 3
    with scope(everywhere()):
        assert len(asked()) == 3
    tell("beats at once", tried=8, bad=sum(told) - 3)


@pytest.mark.django_db(transaction=True)
def test_without_the_key_two_beats_ask_twice(real_house: House, connect_as: Doorway) -> None:
    """The control: the same statement with the key and its clause gone, in a transaction that is undone."""
    statement, _ = ASK_ONCE.split("ON CONFLICT")
    week = Period.named("week", "2026-W44")
    zone = real_house.building.zone
    start, end = week.starts_at(zone), week.ends_at(zone)
    row = [real_house.building.pk, week.kind, week.name, start, end, end, end]
    with connect_as(OWNER) as other:
        other.execute("DROP INDEX one_scheduled_report_a_building_and_period")
        other.execute("SELECT set_config('app.buildings', %s, true)", [f"{{{real_house.building.pk}}}"])
        for _ in range(2):
            other.execute(statement, row)
        [count] = other.execute("SELECT count(*) FROM reports_report WHERE is_scheduled").fetchone()

    assert count == 2
    with transaction.atomic(), scope(everywhere()):
        assert Report.objects.count() == 0
