"""Times beside the other sessions of a week, and times that need one of them to move."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from scheduling.problem import Day, FixedSession, Problem, Requirement, Resident, Slot, Span, Station, Supervision
from scheduling.remedies import Remedies, Standing, remedies_in, why_none
from scheduling.times import judge_start

MONDAY = datetime(2026, 11, 30, tzinfo=UTC)
TURN, DAY = timedelta(minutes=30), timedelta(days=1)


def at(day: int, hour: float) -> datetime:
    return MONDAY + day * DAY + timedelta(hours=hour)


def week(fixed: Sequence[datetime] = (), *, days: int = 5, staff: int = 6) -> Problem:
    """Open 9 to 11, turns of half an hour, one station; the resident's sessions take a turn."""
    opened = [Day(at(day, 9), at(day, 11)) for day in range(days)]
    resident = Resident(
        id="1",
        sessions=1,
        stations=(Requirement("A", 1),),
        supervision=2,
        available=tuple(Span(day.opens, day.closes) for day in opened),
        rewards=(1,),
        fixed=tuple(FixedSession((Slot("A", start, start + TURN),)) for start in fixed),
    )
    return Problem(
        timezone="UTC",
        turn=TURN,
        days=tuple(opened),
        stations=(Station("A"),),
        supervision=tuple(Supervision(day.opens, day.closes, staff) for day in opened),
        residents=(resident,),
    )


def starts(found: Remedies) -> list[datetime]:
    return [time.start for time in found.keeps]


def test_without_another_session_every_allowed_time_keeps_all() -> None:
    found = remedies_in(week(days=1), "1", ())

    assert starts(found) == [at(0, 9), at(0, 9.5), at(0, 10), at(0, 10.5)]
    assert found.moves == ()


def test_times_too_near_to_the_other_session_move_it() -> None:
    """Thursday 09:00 to 09:30 stands: it leaves Monday and Tuesday until 09:00, so that 48 hours lie between."""
    thursday = at(3, 9)
    found = remedies_in(week([thursday]), "1", (), [Standing(7, thursday)])

    assert starts(found) == [at(0, 9), at(0, 9.5), at(0, 10), at(0, 10.5)]
    tuesday = next(move for move in found.moves if move.time.start == at(1, 9))
    assert (tuesday.moves, tuesday.to.start) == (Standing(7, thursday), at(3, 9.5))
    wednesday = next(move for move in found.moves if move.time.start == at(2, 9))
    assert wednesday.to.start == at(4, 9.5)


@pytest.mark.parametrize("other", [at(day, hour) for day in range(5) for hour in (9, 10.5)])
def test_after_moving_both_keep_all_rules(other: datetime) -> None:
    """Each pair is judged anew, one session where it goes and the other beside it."""
    found = remedies_in(week([other]), "1", (), [Standing(7, other)])

    assert set(starts(found)) & {move.time.start for move in found.moves} == set()
    assert found.moves
    for move in found.moves:
        beside = week([move.to.start])
        judged = judge_start(beside, "1", move.time.start)
        assert getattr(judged, "start", judged) == move.time.start


def test_a_session_that_may_not_move_offers_no_time_that_needs_it() -> None:
    assert remedies_in(week([at(2, 9)]), "1", ()).moves == ()


def test_without_any_time_the_rule_that_refuses_most_is_named() -> None:
    nobody = replace(week(), supervision=())

    assert remedies_in(nobody, "1", ()).are_none
    assert why_none(nobody, "1") == "No help is free at any time that would suit; more staff on the circuit would."
    busy = week([at(0, 9.5), at(2, 9.5)], days=3)
    assert why_none(busy, "1") == "Times that are left lie within the recovery time of another session."
