"""How good a roster is, how soon: beside a person with paper, who gives each resident in turn the best week left."""

from time import monotonic

import pytest

from scheduling.check import broken_rules, value
from scheduling.load.weights import most_sessions
from scheduling.problem import Problem, Roster
from scheduling.solver import Progress, solve
from scheduling.solver.filling import Filling
from tests.benchmarks.weeks import week

WEEKS = {
    "24, room for all": lambda: week(24, seed=1),
    "60, room for all": lambda: week(60, seed=2),
    "120, room for all": lambda: week(120, seed=3, staff=4),
    "120, half the staff": lambda: week(120, seed=3, staff=2),
    "60, six in ten fetched": lambda: week(60, seed=4, staff=3, escorted=0.6),
}
SECONDS = 10


@pytest.mark.parametrize("name", WEEKS)
def test_a_week_beside_a_person_with_paper(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    problem = WEEKS[name]()
    seen: list[Progress] = []
    began = monotonic()
    roster = solve(problem, seconds=SECONDS, progress=seen.append)
    seconds = monotonic() - began

    assert broken_rules(problem, roster) == []
    paper, paper_seconds = by_hand(problem)
    asked = sum(resident.sessions for resident in problem.residents)
    least = asked - most_sessions([resident.rewards for resident in problem.residents], roster.bound)
    told = [
        f"{name:24} missing {missing_in(roster):3} of {asked:3}, proven at least {least:3}",
        f"first answer {seen[0].seconds:5.2f} s, ended {seconds:5.1f} s",
        f"by hand: missing {paper:3} in {paper_seconds:5.2f} s",
    ]
    with capsys.disabled():
        print("\n" + " | ".join(told))  # noqa: T201 - the figures are what a benchmark is for


def missing_in(roster: Roster) -> int:
    return sum(entry.missing for entry in roster.unplaced)


def by_hand(problem: Problem) -> tuple[int, float]:
    """How many sessions are missing when every resident in turn gets their best week beside those before."""
    began = monotonic()
    filling = Filling(problem, None)
    for place in range(len(problem.residents)):
        filling.plan(place)
    return sum(filling.missing(place) for place in range(len(problem.residents))), monotonic() - began


def test_by_hand_is_never_better_than_the_solver() -> None:
    problem = week(24, seed=5, staff=1)

    roster = solve(problem, seconds=SECONDS)

    assert missing_in(roster) <= by_hand(problem)[0]
    assert value(problem, roster) == roster.objective
