"""Many at once: threads with a connection and a real transaction each, and what they must not have done together."""

import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import combinations
from typing import TypeVar

from django.db import connections

from program.models import Building, Session, ShiftTime, Slot, scope

Told = TypeVar("Told")


def everywhere() -> list[int]:
    return list(Building.objects.values_list("pk", flat=True))


def at_once(works: Sequence[Callable[[], Told]], *, threads: int = 16, is_one_blow: bool = False) -> list[Told]:
    """Each piece of work in the scope of all buildings, in a transaction of its own; answers in the order given.

    `is_one_blow`: nobody begins before all are ready, one thread each.
    """
    buildings = everywhere()
    gate = threading.Barrier(len(works) if is_one_blow else 1)

    def done(work: Callable[[], Told]) -> Told:
        gate.wait(timeout=30)
        try:
            with scope(buildings):
                return work()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(works) if is_one_blow else threads) as pool:
        return list(pool.map(done, works))


def station_overlaps() -> int:
    return sum(
        one.starts_at < other.ends_at and other.starts_at < one.ends_at
        for one, other in combinations(Slot.objects.filter(is_held=True).order_by("station_id"), 2)
        if one.station_id == other.station_id
    )


def recovery_overlaps() -> int:
    """Pairs of one person's sessions with less than the recovery between them."""
    return sum(
        abs((one.starts_at - other.starts_at).total_seconds()) < 48 * 3600 + 1800
        for one, other in combinations(Session.objects.on_the_plan(), 2)
        if one.person_id == other.person_id
    )


def moments_without_enough_help() -> int:
    """Starts of sessions at which more help is taken than there is; the most is always taken at some start."""
    sessions = list(Session.objects.on_the_plan())
    shifts = list(ShiftTime.objects.all())
    short = 0
    for moment in {session.starts_at for session in sessions}:
        taken = sum(one.help_sixths for one in sessions if one.starts_at <= moment < one.ends_at)
        short += taken > 6 * sum(one.starts_at <= moment < one.ends_at for one in shifts)
    return short


def tell(what: str, *, tried: int, bad: int) -> None:
    """What a run has shown: with none bad in N independent tries the 95 % upper bound is 3/N (Hanley, Lippman-Hand)."""
    bound = f", 95 % bound {3 / tried:.2e}" if bad == 0 else ""
    sys.stdout.write(f"\n{what}: tried {tried}, bad {bad}{bound}\n")
