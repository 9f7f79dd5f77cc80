"""A roster for a test: solved and judged at once, and told in turns from opening."""

from scheduling.check import broken_rules
from scheduling.problem import Problem, Roster
from scheduling.solver import solve
from tests.scheduling.problems import EIGHT, TURN


def solved(facts: Problem, **options: object) -> Roster:
    roster = solve(facts, seconds=5, **options)  # type: ignore[arg-type]
    assert broken_rules(facts, roster) == []
    return roster


def starts(roster: Roster) -> list[tuple[str, int]]:
    return [(one.resident, (one.start - EIGHT) // TURN) for one in roster.sessions]


def codes(roster: Roster) -> list[list[str]]:
    return [[reason.code for reason in entry.reasons] for entry in roster.unplaced]
