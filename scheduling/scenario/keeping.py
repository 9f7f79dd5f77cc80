"""A week in which everybody keeps the days and times they are used to: judged like a roster, and booked."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from program.actions.locks import lock_plan
from program.actions.sessions import book_sessions
from program.models import Session
from program.rules.week import Week, local_instant
from scheduling.actions.moving import booking_of
from scheduling.check import broken_rules, value
from scheduling.load import load_week
from scheduling.models import Roster
from scheduling.problem import PlacedSession, Problem, Reason, Unplaced, read_roster
from scheduling.problem import Roster as Answer
from scheduling.scenario.cast import Cast

LEFT_OUT = Reason("left_out", "Their usual time does not fit this week.")


def keep_times(cast: Cast, roster: Roster, week: Week) -> list[Session]:
    """Book the places of an earlier roster again in `week`, as far as they keep all rules there."""
    lock_plan(building=cast.building)
    loaded = load_week(building=cast.building, week=week, has_buffer=False)
    later, zone = (week.monday - roster.monday).days, cast.building.zone
    usual = [_moved(session, later, zone) for session in read_roster(roster.answer or {}).sessions]
    kept = _fitting(loaded.problem, usual)
    bookings = [booking_of(loaded, loaded.residents[session.resident], session.slots) for session in kept]
    return book_sessions(building=cast.building, bookings=bookings, by=cast.coordinator) if bookings else []


def _moved(session: PlacedSession, days: int, zone: ZoneInfo) -> PlacedSession:
    """The same wall-clock times so many days later."""

    def later(moment: datetime) -> datetime:
        local = moment.astimezone(zone)
        return local_instant(local.date() + timedelta(days=days), local.hour * 60 + local.minute, zone)

    slots = tuple(replace(slot, start=later(slot.start), end=later(slot.end)) for slot in session.slots)
    return PlacedSession(session.resident, later(session.start), later(session.end), slots)


def _fitting(problem: Problem, usual: Sequence[PlacedSession]) -> list[PlacedSession]:
    """Without those whose time is taken by something else; then whoever breaks a rule stays out, one by one."""
    free = {one.id: one.available for one in problem.residents if one.sessions}
    kept = [
        session
        for session in usual
        if any(span.start <= session.start and session.end <= span.end for span in free.get(session.resident, ()))
    ]
    while faults := broken_rules(problem, _answer(problem, kept)):
        there = {session.resident for session in kept}
        spoilt = {max(those) for fault in faults if (those := there.intersection(fault.residents))}
        # What nobody's leaving puts right is no week to keep.
        kept = [session for session in kept if session.resident not in spoilt] if spoilt else []
    return kept


def _answer(problem: Problem, kept: Sequence[PlacedSession]) -> Answer:
    """What every rule can judge: with those who are left out, and neither better nor worse than it is."""
    placed = Counter(session.resident for session in kept)
    unplaced = tuple(
        Unplaced(one.id, one.sessions - placed[one.id], (LEFT_OUT,))
        for one in problem.residents
        if placed[one.id] < one.sessions
    )
    bare = Answer(sessions=tuple(kept), unplaced=unplaced)
    worth = value(problem, bare)
    return replace(bare, status="optimal", objective=worth, bound=worth)
