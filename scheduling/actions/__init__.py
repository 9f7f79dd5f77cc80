"""Asking for rosters, building, comparing and publishing them; booking and moving one session. All judged first."""

from scheduling.actions.building import fill_roster, start_roster
from scheduling.actions.moving import book_session, judge_time, move_session, next_allowed, times_of
from scheduling.actions.publishing import Comparison, Published, compare, publish_roster

__all__ = [
    "Comparison",
    "Published",
    "book_session",
    "compare",
    "fill_roster",
    "judge_time",
    "move_session",
    "next_allowed",
    "publish_roster",
    "start_roster",
    "times_of",
]
