"""What no roster can pass: everybody's best week alone, lowered by what help, stations and fetching leave room for."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from scheduling.problem import Problem
from scheduling.solver.filling import Filling
from scheduling.solver.layout import to_microseconds
from scheduling.solver.starts import Starts

# Profits of one resident by number of new sessions (0, 1, 2 …), and the least that each session uses up.
Offer = tuple[list[int], int]


@dataclass(frozen=True, slots=True)
class Resource:
    """Something that sessions use up: so much of it is there, and each session of a resident takes at least so much."""

    there: int
    uses: list[int]


def proven_bound(filling: Filling) -> int:
    """In whole money without bonuses for staying: no roster that keeps the rules is worth more."""
    profits = [_profits_alone(filling, place) for place in range(len(filling.weeks))]
    alone = sum(max(values) for values in profits)
    resources = [_help(filling), *_stations(filling)]
    bounds = [alone, *(_fractional(profits, resource) for resource in resources)]
    most = _most_one_after_another(filling)
    if most is not None:
        bounds.append(_fractional(profits, Resource(most, [1] * len(profits))))
    return min(bounds)


def most_alone(problem: Problem) -> tuple[int, ...]:
    """How many new sessions each resident could have if nobody else were there, in the order of the problem."""
    filling = Filling(problem, None)
    return tuple(len(_profits_alone(filling, place)) - 1 for place in range(len(problem.residents)))


def _profits_alone(filling: Filling, place: int) -> list[int]:
    weeks = filling.weeks[place]
    profit = -weeks.costs
    for one, other, reward in filling.pairs:
        if place not in (one, other):
            continue
        friend = filling.weeks[other if place == one else one]
        starts = {to_microseconds(fixed.start) for fixed in friend.starts.resident.fixed}
        # A start that is new for both is counted for the first of the pair only.
        if place == one:
            starts |= set(friend.at.tolist())
        profit[np.isin(weeks.at, list(starts))] += reward
    return weeks.value_by_count(profit)


def _fractional(profits: list[list[int]], resource: Resource) -> int:
    """Sessions may be taken in parts here, which can only add value: a price for the resource, chosen best.

    For any price p at least 0 no roster passes p × there + the sum of everybody's best profit less p × use.
    """
    slopes = {
        Fraction(values[more] - values[fewer], (more - fewer) * use)
        for values, use in zip(profits, resource.uses, strict=True)
        if use
        for more in range(1, len(values))
        for fewer in range(more)
        if values[more] > values[fewer]
    }
    prices = [Fraction(0), *sorted(slopes)]
    low, high = 0, len(prices) - 1
    # The sum is convex in the price, so the least lies where its slope changes sign.
    while low < high:
        middle = (low + high) // 2
        if _at_price(profits, resource, prices[middle]) <= _at_price(profits, resource, prices[middle + 1]):
            high = middle
        else:
            low = middle + 1
    return int(_at_price(profits, resource, prices[low]) // 1)


def _at_price(profits: list[list[int]], resource: Resource, price: Fraction) -> Fraction:
    top, under = price.numerator, price.denominator
    total = top * resource.there
    for values, use in zip(profits, resource.uses, strict=True):
        total += max(value * under - top * count * use for count, value in enumerate(values))
    return Fraction(total, under)


def _lengths(filling: Filling) -> list[int]:
    points = filling.layout.points
    return [*np.diff(points).tolist(), 0] if len(points) else []


def _help(filling: Filling) -> Resource:
    """Sixths × time of all pieces in which some session may need help."""
    used = np.zeros(len(filling.layout.points) + 1, dtype=np.int64)
    uses = []
    for weeks in filling.weeks:
        starts, legal = weeks.starts, weeks.places
        np.add.at(used, starts.way_first[legal], 1)
        np.add.at(used, starts.way_last[legal], -1)
        uses.append(_least_help(filling, starts, legal))
    longest = filling.layout.problem.max_wait_turns > 0
    in_use = np.cumsum(used)[:-1] > 0
    if longest:
        # Waits make sessions end later than the soonest end counted above.
        in_use[:] = True
    free = np.maximum(filling.layout.free_help, 0)
    lengths = _lengths(filling)
    there = sum(int(free[piece]) * lengths[piece] for piece in np.flatnonzero(in_use))
    return Resource(there, uses)


def _least_help(filling: Filling, starts: Starts, legal: np.ndarray) -> int:
    if not len(legal):
        return 0
    needs = starts.needs
    shortest = int((starts.ends[legal] - starts.at[legal]).min())
    return needs.sixths * shortest + 2 * needs.way_turns * needs.way_sixths * filling.layout.turn


def _stations(filling: Filling) -> list[Resource]:
    lengths = _lengths(filling)
    resources = []
    for station in range(len(filling.problem.stations)):
        free = np.flatnonzero(~filling.layout.taken[station] & _open(filling))
        uses = [_least_at(filling, place, station) for place in range(len(filling.weeks))]
        resources.append(Resource(sum(lengths[piece] for piece in free), uses))
    return resources


def _open(filling: Filling) -> np.ndarray:
    is_open = np.zeros(len(filling.layout.points), dtype=np.bool_)
    for opening in filling.layout.openings:
        is_open[opening.piece(0) : opening.piece(opening.ticks)] = True
    return is_open


def _least_at(filling: Filling, place: int, station: int) -> int:
    weeks = filling.weeks[place]
    turns = dict(weeks.starts.needs.stations)
    if station not in turns or not len(weeks.places):
        return 0
    position = [visited for visited, _ in weeks.starts.needs.stations].index(station)
    if (weeks.starts.left_out[weeks.places] >> position & 1).any():
        return 0
    return turns[station] * filling.layout.turn


def _most_one_after_another(filling: Filling) -> int | None:
    """How many sessions fit in all where no two may overlap, fetching included; None where some may.

    Of two sessions that overlap, the later is being fetched while the other is fetched, there or brought back.
    """
    needs = [weeks.starts.needs for weeks in filling.weeks if len(weeks.places)]
    capacity = int(filling.layout.free_help.max(initial=0))
    if not needs or any(not need.way_turns for need in needs):
        return None
    fetching = min(need.way_sixths for need in needs)
    least = min(min(need.way_sixths, need.sixths) for need in needs)
    if fetching + least <= capacity:
        return None
    points = filling.layout.points
    spans = sorted(
        {
            (int(points[last]), int(points[first]))
            for weeks in filling.weeks
            for first, last in zip(
                weeks.starts.way_first[weeks.places], weeks.starts.way_last[weeks.places], strict=True
            )
        }
    )
    count, free_from = 0, None
    for end, start in spans:
        if free_from is None or start >= free_from:
            count, free_from = count + 1, end
    return count
