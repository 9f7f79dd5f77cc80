"""Help needed and help there, followed through every instant at which either changes."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime

from scheduling.problem import FixedSession, PlacedSession, Problem, Resident, Roster

# One stretch of time in which a resident needs so many sixths; new ones may not lie where help is short.
Stretch = tuple[datetime, datetime, int, str, bool]


def moments_short_of_help(problem: Problem, roster: Roster) -> Iterator[tuple[datetime, int, int, tuple[str, ...]]]:
    """Instants from which more is needed than is there while someone new is there: needed, capacity, who is there."""
    changes: dict[datetime, list[tuple[int, int, str, int]]] = {}

    def change(at: datetime, *, capacity: int = 0, need: int = 0, resident: str = "", new: int = 0) -> None:
        changes.setdefault(at, []).append((capacity, need, resident, new))

    for entry in problem.supervision:
        if entry.start < entry.end:
            change(entry.start, capacity=entry.capacity)
            change(entry.end, capacity=-entry.capacity)
    for start, end, sixths, resident, is_new in _stretches(problem, roster):
        change(start, need=sixths, resident=resident, new=int(is_new))
        change(end, need=-sixths, resident=resident, new=-int(is_new))
    capacity = needed = new_there = 0
    there: Counter[str] = Counter()
    for moment in sorted(changes):
        for more_capacity, more_need, resident, more_new in changes[moment]:
            capacity += more_capacity
            needed += more_need
            new_there += more_new
            there[resident] += more_need
        if new_there and needed > capacity:
            yield moment, needed, capacity, tuple(sorted(name for name, sixths in there.items() if sixths))


def _stretches(problem: Problem, roster: Roster) -> Iterator[Stretch]:
    residents = {resident.id: resident for resident in problem.residents}
    for session in roster.sessions:
        if session.resident in residents:
            yield from _stretches_of(problem, residents[session.resident], session, is_new=True)
    for resident in problem.residents:
        for fixed in resident.fixed:
            yield from _stretches_of(problem, resident, fixed, is_new=False)


def _stretches_of(
    problem: Problem, resident: Resident, session: PlacedSession | FixedSession, *, is_new: bool
) -> Iterator[Stretch]:
    yield session.start, session.end, resident.supervision, resident.id, is_new
    if resident.escort is not None and resident.escort.turns:
        on_the_way = resident.escort.turns * problem.turn
        sixths = resident.escort.supervision
        yield session.start - on_the_way, session.start, sixths, resident.id, is_new
        yield session.end, session.end + on_the_way, sixths, resident.id, is_new
