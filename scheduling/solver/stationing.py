"""Which station when: an order of a session's stations that fits between the slots already taken."""

from collections.abc import Iterator, Sequence

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
    same way, sessions of single turns never block one another (design.md 4.5, a). Raises TooManyOrders.
    """
    search = _Search(needs, busy, longest_wait)
    return search.visits if search.completes((1 << len(needs)) - 1, 0, waits, lane) else None


class _Search:
    """Depth first, remembering which sets of stations could not be completed from which tick."""

    def __init__(self, needs: Sequence[tuple[int, int]], busy: Sequence[int], longest_wait: int) -> None:
        self.needs = needs
        self.busy = busy
        self.longest_wait = longest_wait
        self.round = sorted(range(len(needs)), key=lambda need: needs[need][0])
        self.visits: list[Visit] = []
        self.dead_ends: set[tuple[int, int, int]] = set()

    def completes(self, left: int, tick: int, waits: int, after: int) -> bool:
        """Adds visits of the needs left (as bits) from this tick on; True once none is left."""
        if not left:
            return True
        if (left, tick, waits) in self.dead_ends:
            return False
        for pause in range(min(self.longest_wait, waits) + 1 if self.visits else 1):
            at = tick + pause
            for need, following in self._free(left, at, after):
                station, turns = self.needs[need]
                self.visits.append((station, at, turns))
                if self.completes(left & ~(1 << need), at + turns, waits - pause, following):
                    return True
                self.visits.pop()
        self.dead_ends.add((left, tick, waits))
        if len(self.dead_ends) > MOST_DEAD_ENDS:
            raise TooManyOrders
        return False

    def _free(self, left: int, at: int, after: int) -> Iterator[tuple[int, int]]:
        for step in range(after, after + len(self.round)):
            need = self.round[step % len(self.round)]
            if left >> need & 1 and not self.busy[need] >> at & ((1 << self.needs[need][1]) - 1):
                yield need, step + 1
