"""Asking for rosters, building, comparing and publishing them; booking and moving one session. All judged first."""

from scheduling.actions.building import fill_roster, lost_rosters, start_roster
from scheduling.actions.flags import refresh_flags
from scheduling.actions.moving import book_session, judge_time, move_session, next_allowed, times_of
from scheduling.actions.offering import Offer, offer_for, take_offer
from scheduling.actions.publishing import Comparison, Published, compare, publish_roster

__all__ = [
    "Comparison",
    "Offer",
    "Published",
    "book_session",
    "compare",
    "fill_roster",
    "judge_time",
    "lost_rosters",
    "move_session",
    "next_allowed",
    "offer_for",
    "publish_roster",
    "refresh_flags",
    "start_roster",
    "take_offer",
    "times_of",
]
