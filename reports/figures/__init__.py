"""What a period in a building adds up to: plain functions from facts to figures. Counts and shares, never a name."""

from reports.figures.adding_up import figures_of
from reports.figures.attendance import attendance, pooled_attendance
from reports.figures.facts import Closed, Facts, Pause, Plan, PlannedLine, Reason, Stay, Visit

__all__ = [
    "Closed",
    "Facts",
    "Pause",
    "Plan",
    "PlannedLine",
    "Reason",
    "Stay",
    "Visit",
    "attendance",
    "figures_of",
    "pooled_attendance",
]
