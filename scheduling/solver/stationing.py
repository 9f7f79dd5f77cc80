"""Which station when: an order of a session's stations that fits between the slots already taken."""

from collections.abc import Sequence

# Station's place in the circuit, first tick of its slot (counted from the session's start), turns.
Visit = tuple[int, int, int]

# Five stations have 32 sets of stations left to visit, ten 1,024; past this a circuit is too large to search through.
MOST_DEAD_ENDS = 20_000


class TooManyOrders(Exception):
    """The search was given up: there may be an order that fits."""


def visit_order(
    needs: Sequence[tuple[int, int]], busy: Sequence[int], waits: int, longest_wait: int, lane: int = 0
) -> list[Visit] | None:
    """A visit of each need within its turns and at most `waits` turns of waiting in all, or None.

    `needs`: station's place and turns; `busy[i]`: ticks, as bits from the session's start, at which the station of
    needs[i] is not free. Stations are tried round the circuit from `lane` on: while everybody goes round the
    same way, sessions of single turns never block one another (design.md 4.5, a).
    """
    dead_ends: set[tuple[int, int, int]] = set()
    count = len(needs)
    in_turn = sorted(range(count), key=lambda need: needs[need][0])
    visits: list[Visit] = []

    def go_on(left: int, tick: int, waits_left: int, after: int) -> bool:
        if not left:
            return True
        if (left, tick, waits_left) in dead_ends:
            return False
        pauses = range(min(longest_wait, waits_left) + 1) if visits else range(1)
        for pause in pauses:
            at = tick + pause
            for step in range(count):
                need = in_turn[(after + step) % count]
                station, turns = needs[need]
                if not left >> need & 1 or busy[need] >> at & ((1 << turns) - 1):
                    continue
                visits.append((station, at, turns))
                if go_on(left & ~(1 << need), at + turns, waits_left - pause, after + step + 1):
                    return True
                visits.pop()
        dead_ends.add((left, tick, waits_left))
        if len(dead_ends) > MOST_DEAD_ENDS:
            raise TooManyOrders
        return False

    return visits if go_on((1 << count) - 1, 0, waits, lane) else None
