"""Published open-shop facts and instances: a job is a resident, a machine a station, a unit of time a turn."""

from datetime import UTC, datetime, timedelta

import pytest

from scheduling.check import broken_rules
from scheduling.problem import (
    Day,
    FixedSession,
    PlacedSession,
    Problem,
    Requirement,
    Resident,
    Roster,
    Slot,
    Span,
    Station,
    Supervision,
)
from scheduling.solver import solve

BEGIN = datetime(2026, 11, 30, 8, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def shop(times: list[list[int]], makespan: int, longest_wait: int, **facts: object) -> Problem:
    """Every job is one session; the day is open for so many turns of a minute, with help for everybody."""
    stations = tuple(f"M{number}" for number in range(1, len(times[0]) + 1))
    end = BEGIN + makespan * MINUTE
    residents = tuple(
        Resident(
            id=f"J{number}",
            sessions=1,
            stations=tuple(Requirement(*need) for need in zip(stations, row, strict=True)),
            supervision=1,
            available=(Span(BEGIN, end),),
            rewards=(1,),
        )
        for number, row in enumerate(times, start=1)
    )
    return Problem(
        timezone="UTC",
        turn=MINUTE,
        days=(Day(BEGIN, end),),
        max_wait_turns=longest_wait,
        stations=tuple(Station(station) for station in stations),
        supervision=(Supervision(BEGIN, end, len(times)),),
        residents=residents,
        **facts,  # type: ignore[arg-type]
    )


# Unit-time open shop, start anywhere: max(n, m) slots (König's edge colouring, 1916; from memory, recomputed).
# Nobody waits here, so only whole rounds of five reach it; 6 to 9 residents would have to wait between stations.
@pytest.mark.parametrize("residents", [1, 2, 3, 5, 10])
def test_unit_times_need_as_many_turns_as_the_larger_of_residents_and_stations(residents):
    enough = max(residents, 5)

    placed, one_turn_less = (solve(shop([[1] * 5] * residents, turns, 0), seconds=5) for turns in (enough, enough - 1))

    assert (len(placed.sessions), placed.status) == (residents, "optimal")
    assert len(one_turn_less.sessions) < residents


# The same fact from above: in t turns a station sees t residents, so no proven bound may promise fewer than fit.
@pytest.mark.parametrize("residents", [6, 7, 8, 9])
def test_where_residents_must_wait_the_bound_still_allows_all_of_them(residents):
    facts = shop([[1] * 5] * residents, residents, residents)

    roster = solve(facts, seconds=5)

    assert (broken_rules(facts, roster), roster.bound) == ([], residents)


# ScheduleOpt/benchmarks, instance tai4x4_1; optimum 193 (Taillard 1993, EJOR 64:278-285), the certificate of
# reference-facts.md 9.2: machine by machine, job and its start.
TAI4X4_1 = [[34, 2, 54, 61], [15, 89, 70, 9], [38, 19, 28, 87], [95, 7, 34, 29]]
CERTIFICATE = {
    "M1": {"J1": 0, "J4": 34, "J3": 129, "J2": 167},
    "M2": {"J2": 0, "J1": 89, "J4": 129, "J3": 167},
    "M3": {"J3": 0, "J1": 34, "J2": 89, "J4": 159},
    "M4": {"J4": 0, "J3": 29, "J1": 116, "J2": 182},
}


def certified(job: int, row: list[int]) -> FixedSession:
    slots = []
    for station, starts in CERTIFICATE.items():
        start = BEGIN + starts[f"J{job}"] * MINUTE
        slots.append(Slot(station, start, start + row[int(station[1]) - 1] * MINUTE))
    return FixedSession(tuple(sorted(slots, key=lambda slot: slot.start)))


def test_the_certificate_of_a_published_optimum_keeps_every_rule_and_one_turn_less_does_not():
    schedule = [certified(job, row) for job, row in enumerate(TAI4X4_1, start=1)]
    roster = Roster(
        status="optimal",
        objective=4,
        bound=4,
        sessions=tuple(
            PlacedSession(f"J{job}", fixed.start, fixed.end, fixed.slots) for job, fixed in enumerate(schedule, start=1)
        ),
    )

    assert broken_rules(shop(TAI4X4_1, 193, 193), roster) == []
    too_short = {broken.rule for broken in broken_rules(shop(TAI4X4_1, 192, 193), roster)}
    assert too_short == {
        "a_session_lies_within_one_opening",
        "a_session_lies_within_one_available_time",
        "help_is_never_exceeded",
    }
