"""From a roster problem to a roster; the only room that knows how one is found."""

from scheduling.solver.bound import most_alone
from scheduling.solver.conflicts import conflicts_among_fixed
from scheduling.solver.solve import Progress, solve

__all__ = ["Progress", "conflicts_among_fixed", "most_alone", "solve"]
