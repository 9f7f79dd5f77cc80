"""The roster problem and the roster: what they hold, and their JSON form, read strictly and written back exactly."""

from scheduling.problem.facts import (
    Cost,
    CostWindow,
    Day,
    Escort,
    FixedSession,
    Problem,
    Requirement,
    Resident,
    ShortGap,
    Slot,
    Span,
    Station,
    Supervision,
    Together,
    Value,
)
from scheduling.problem.fields import Malformed
from scheduling.problem.reading import read_problem
from scheduling.problem.roster import Conflict, Kept, PlacedSession, Reason, Roster, Unplaced, read_roster
from scheduling.problem.writing import write_problem, write_roster

__all__ = [
    "Conflict",
    "Cost",
    "CostWindow",
    "Day",
    "Escort",
    "FixedSession",
    "Kept",
    "Malformed",
    "PlacedSession",
    "Problem",
    "Reason",
    "Requirement",
    "Resident",
    "Roster",
    "ShortGap",
    "Slot",
    "Span",
    "Station",
    "Supervision",
    "Together",
    "Unplaced",
    "Value",
    "read_problem",
    "read_roster",
    "write_problem",
    "write_roster",
]
