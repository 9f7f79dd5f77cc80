"""How single visits go in the invented buildings, by the story that each of them tells; without a database."""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from program.models import Building, Resident, Session, User
from program.rules.reasons import CLASS_OF, OUR_SIDE
from scheduling.scenario.buildings import BUILDINGS
from scheduling.scenario.cast import Cast
from scheduling.scenario.fates import Visit, fate_of

NOON = datetime(2026, 12, 2, 17, 0, tzinfo=UTC)
NAMES = range(1, 41)


def cast_in(name: str) -> Cast:
    plan = next(plan for plan in BUILDINGS if plan.name == name)
    nobody = User()
    return Cast(plan, NOON, Building(timezone=plan.timezone), nobody, nobody, aides=[], units=[], stations=[])


def visits(cast: Cast, days_ago: int) -> list[Visit | None]:
    """Those of forty residents at one moment."""
    starts_at = NOON - timedelta(days=days_ago)
    return [
        fate_of(
            cast,
            Session(
                pk=number,
                resident=Resident(pk=number, key=f"{number:03}"),
                starts_at=starts_at,
                ends_at=starts_at + timedelta(minutes=30),
            ),
        )
        for number in NAMES
    ]


def reasons(told: Sequence[Visit | None]) -> Counter[str]:
    return Counter(visit.reason if visit and visit.instead else "" for visit in told)


def test_the_same_visit_has_the_same_fate_however_often_it_is_asked_for() -> None:
    first, again = visits(cast_in("Arrowfen House"), 20), visits(cast_in("Arrowfen House"), 20)

    assert [one and (one.began_at, one.instead, one.reason) for one in first] == [
        one and (one.began_at, one.instead, one.reason) for one in again
    ]


def test_in_an_ordinary_building_most_visits_take_place() -> None:
    assert reasons(visits(cast_in("Dunlarch"), 20))[""] > 32


def test_a_building_that_stopped_recording_writes_nothing_since() -> None:
    cast = cast_in("Coppermere")

    assert visits(cast, 8) == [None] * len(NAMES)
    assert visits(cast, 11).count(None) < 5


def test_a_building_that_stopped_training_says_why_and_the_reasons_are_its_own() -> None:
    told = reasons(visits(cast_in("Fennimoor"), 5))

    assert {CLASS_OF[reason] for reason in told} == {OUR_SIDE}
    assert reasons(visits(cast_in("Fennimoor"), 12))[""] > 32


def test_a_building_short_of_staff_gives_up_more_for_that_reason_than_before() -> None:
    cast = cast_in("Brindlewharf")
    later = sum(reasons(visits(cast, days))["no staff"] for days in (2, 7, 9, 14))
    before = sum(reasons(visits(cast, days))["no staff"] for days in (30, 37, 44, 51))

    assert later > 4 * max(before, 1)


def test_whoever_refuses_does_so_every_time_and_whoever_is_untrained_is_never_refusing() -> None:
    cast = cast_in("Dunlarch")
    cast.refusing, cast.untrained = frozenset({1}), frozenset({2})
    first, second = zip(*(visits(cast, days)[:2] for days in (2, 5, 9, 12)), strict=True)

    assert reasons(first) == {"declined": 4}
    assert set(reasons(second[:2])) <= {"asleep", "visitors"}
