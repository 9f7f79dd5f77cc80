"""From a roster problem to a roster; the only room that knows how one is found."""

from scheduling.solver.conflicts import conflicts_among_fixed
from scheduling.solver.solve import Progress, solve

__all__ = ["Progress", "conflicts_among_fixed", "solve"]
