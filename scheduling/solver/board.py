"""The week while it is being filled: what each session holds, and whether one more fits."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.problem import Resident
from scheduling.solver.layout import Layout, Opening
from scheduling.solver.stationing import TooManyOrders, Visit, visit_order


@dataclass(frozen=True, slots=True)
class Needs:
    """What one resident needs at the stations and on the way, in places of the layout."""

    stations: tuple[tuple[int, int], ...]
    turns: int
    sixths: int
    way_turns: int
    way_sixths: int

    def without(self, left_out: int) -> tuple[tuple[int, int], ...]:
        """`left_out`: bits of the needs that a session goes on without."""
        return tuple(need for place, need in enumerate(self.stations) if not left_out >> place & 1)


def needs_of(resident: Resident, layout: Layout) -> Needs:
    escort = resident.escort
    return Needs(
        stations=tuple((layout.station_places[need.station], need.turns) for need in resident.stations),
        turns=sum(need.turns for need in resident.stations),
        sixths=resident.supervision,
        way_turns=escort.turns if escort else 0,
        way_sixths=escort.supervision if escort else 0,
    )


@dataclass(frozen=True, slots=True)
class Placement:
    """One new session on the board; `start` is its place among the resident's starts, times in microseconds."""

    start: int
    at: int
    end: int
    opening: int
    tick: int
    visits: tuple[Visit, ...]

    @property
    def last_tick(self) -> int:
        _, at, turns = self.visits[-1]
        return self.tick + at + turns


class Board:
    """Help left and stations taken, piece by piece; sessions come and go."""

    def __init__(self, layout: Layout, *, without_fixed: bool = False) -> None:
        self.layout = layout
        # Which station of the round is tried first; the search turns it to come upon other orders.
        self.turned_by = 0
        self.free_help = layout.free_help.copy()
        self.taken = (layout.closed if without_fixed else layout.taken).copy()
        self._bits = [_as_bits(row) for row in self.taken]

    def fits(
        self,
        needs: Needs,
        stations: tuple[tuple[int, int], ...],
        opening: int,
        tick: int,
        latest_end: int,
        *,
        ignore_help: bool = False,
    ) -> tuple[Visit, ...] | None:
        """The visits of a session at this tick that ends soonest, or None.

        Raises TooManyOrders when the search for an order was given up.
        """
        grid = self.layout.openings[opening]
        turns = sum(length for _, length in stations)
        longest_wait = self.layout.problem.max_wait_turns
        most_waits = longest_wait * (len(stations) - 1)
        room = min((latest_end - grid.opens) // self.layout.turn, grid.ticks) - tick - turns
        last_tick = tick + turns + min(most_waits, room)
        if room < 0:
            return None
        busy = [self._busy_ticks(station, grid, tick, last_tick) for station, _ in stations]
        for waits in range(min(most_waits, room) + 1):
            end_tick = tick + turns + waits
            if not ignore_help and not self._has_help(needs, grid, tick, end_tick):
                return None
            # Ticks past this end count as taken, so that an order may wait less but never longer.
            visits = visit_order(stations, busy, waits, longest_wait, lane=tick + self.turned_by)
            if visits is not None:
                return tuple(visits)
        return None

    def _has_help(self, needs: Needs, grid: Opening, tick: int, end_tick: int) -> bool:
        first, last = grid.piece(tick), grid.piece(end_tick)
        if self.free_help[first:last].min() < needs.sixths:
            return False
        if not needs.way_turns:
            return True
        there = self.free_help[grid.piece(tick - needs.way_turns) : first]
        back = self.free_help[last : grid.piece(end_tick + needs.way_turns)]
        return bool(min(there.min(), back.min()) >= needs.way_sixths)

    def _busy_ticks(self, station: int, grid: Opening, tick: int, last_tick: int) -> int:
        first, last = grid.piece(tick), grid.piece(last_tick)
        bits = self._bits[station] >> first
        if last - first == last_tick - tick:
            return bits
        busy = 0
        for place in range(last_tick - tick):
            low, high = grid.piece(tick + place), grid.piece(tick + place + 1)
            if bits >> (low - first) & ((1 << (high - low)) - 1):
                busy |= 1 << place
        return busy

    def put(self, needs: Needs, placement: Placement) -> None:
        self._change(needs, placement, putting=True)

    def take_off(self, needs: Needs, placement: Placement) -> None:
        self._change(needs, placement, putting=False)

    def _change(self, needs: Needs, placement: Placement, *, putting: bool) -> None:
        grid = self.layout.openings[placement.opening]
        sign = -1 if putting else 1
        first, last = grid.piece(placement.tick), grid.piece(placement.last_tick)
        self.free_help[first:last] += sign * needs.sixths
        if needs.way_turns:
            before = grid.piece(placement.tick - needs.way_turns)
            after = grid.piece(placement.last_tick + needs.way_turns)
            self.free_help[before:first] += sign * needs.way_sixths
            self.free_help[last:after] += sign * needs.way_sixths
        for station, at, turns in placement.visits:
            low, high = grid.piece(placement.tick + at), grid.piece(placement.tick + at + turns)
            self.taken[station, low:high] = putting
            self._bits[station] ^= ((1 << (high - low)) - 1) << low

    def placed(
        self,
        needs: Needs,
        stations: tuple[tuple[int, int], ...],
        spot: tuple[int, int, int, int],
        latest_end: int,
    ) -> Placement | None:
        """Puts a session at this spot (start's place, instant, opening, tick) if it fits."""
        start, at, opening, tick = spot
        try:
            visits = self.fits(needs, stations, opening, tick, latest_end)
        except TooManyOrders:
            return None
        if visits is None:
            return None
        _, last_at, last_turns = visits[-1]
        end = at + (last_at + last_turns) * self.layout.turn
        placement = Placement(start, at, end, opening, tick, visits)
        self.put(needs, placement)
        return placement


def _as_bits(row: NDArray[np.bool_]) -> int:
    return int.from_bytes(np.packbits(row, bitorder="little").tobytes(), "little")
