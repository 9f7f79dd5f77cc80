"""What should be flagged, in SQL over whole buildings: computed anew each time from the rows and the moment."""

from scheduling.flags.refreshing import Refreshed, refresh
from scheduling.flags.states import STATE_AT

__all__ = ["STATE_AT", "Refreshed", "refresh"]
