"""From the database to a roster problem: who, when, where, with whose help, and what each session is worth."""

from scheduling.load.loading import Loaded, load_week
from scheduling.load.standing import standing_in, would_move

__all__ = ["Loaded", "load_week", "standing_in", "would_move"]
