"""One resident's best week on given starts: a longest path with recovery, found by running maxima."""

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduling.problem import CostWindow
from scheduling.solver.layout import MICROSECOND, to_microseconds
from scheduling.solver.money import Money
from scheduling.solver.starts import Starts

# Whole numbers of 64 bits, or Python's own where rewards are too large for those.
Amounts = NDArray[Any]


class Weeks:
    """The legal starts of one resident, prepared once; profits are given anew for every week asked for.

    Fixed sessions cut time into regions: a short gap counts between neighbours, and a new session that is
    first or last in its region has a fixed one for a neighbour.
    """

    def __init__(self, starts: Starts, money: Money) -> None:
        resident = starts.resident
        self.starts = starts
        self.money = money
        self.places = np.flatnonzero(starts.legal)
        self.at = starts.at[self.places]
        self.ends = starts.ends[self.places]
        self.most = resident.sessions
        # By number of new sessions; `rewards` counts them so much the more where sessions are to be kept.
        self.true_rewards = [0]
        for reward in resident.rewards[: self.most]:
            self.true_rewards.append(self.true_rewards[-1] + money.whole(reward))
        self.rewards = [reward * money.reward_factor for reward in self.true_rewards]
        self.costs = self._costs()
        self.recovery = resident.recovery // MICROSECOND
        gap = resident.short_gap.length // MICROSECOND if resident.short_gap else 0
        self.short_cost = money.whole(resident.short_gap.cost) if resident.short_gap else 0
        self.gap = gap
        self.fixed_spans = [
            (to_microseconds(fixed.start), to_microseconds(fixed.end), False) for fixed in resident.fixed
        ]
        self.by_end = np.argsort(self.ends, kind="stable")
        sorted_ends = self.ends[self.by_end]
        self.rested = np.searchsorted(sorted_ends, self.at - self.recovery, side="right")
        self.well_apart = np.searchsorted(sorted_ends, self.at - max(gap, self.recovery), side="right")
        self._cut_into_regions()

    def _costs(self) -> Amounts:
        cost = self.starts.resident.cost
        costs: Amounts = np.full(len(self.at), self.money.whole(cost.default), dtype=self.money.dtype)
        # Last first, so that the first window that holds a start has the last word.
        for window in reversed(cost.windows):
            costs[self._inside(window)] = self.money.whole(window.cost)
        return costs

    def _inside(self, window: CostWindow) -> NDArray[np.bool_]:
        return (to_microseconds(window.start) <= self.at) & (self.at < to_microseconds(window.end))

    def _cut_into_regions(self) -> None:
        fixed = sorted(self.fixed_spans)
        begins = np.array([start for start, _, _ in fixed], dtype=np.int64)
        finishes = np.array([end for _, end, _ in fixed], dtype=np.int64)
        region = np.searchsorted(begins, self.at, side="left")
        edges = np.searchsorted(region, np.arange(len(fixed) + 2))
        self.regions = [(low, high) for low, high in pairwise(edges.tolist()) if low < high]
        self.region = region
        self.entry: Amounts = np.zeros(len(self.at), dtype=self.money.dtype)
        self.exit: Amounts = np.zeros(len(self.at), dtype=self.money.dtype)
        if fixed and self.short_cost:
            after, before = region > 0, region < len(fixed)
            close_after = self.at - finishes[region - 1] < self.gap
            close_before = begins[np.minimum(region, len(fixed) - 1)] - self.ends < self.gap
            self.entry[after & close_after] = self.short_cost
            self.exit[before & close_before] = self.short_cost

    def best(self, profit: Amounts, most: int | None = None) -> tuple[int, list[int]]:
        """The value of the best week and its starts, as places among all starts, in order of time.

        `profit`: by legal start, rewards left out; `money.never` where it may not be used.
        """
        layers = self._layers(profit, self.most if most is None else min(self.most, most))
        best_value, best_count, best_last = 0, 0, -1
        for count, layer in enumerate(layers, start=1):
            closing = layer - self.exit
            last = int(np.argmax(closing))
            value = int(closing[last]) + self.rewards[count]
            if closing[last] > self.money.impossible and value > best_value:
                best_value, best_count, best_last = value, count, last
        chosen = []
        for count in range(best_count, 0, -1):
            chosen.append(best_last)
            if count > 1:
                best_last = self._before(layers[count - 2], best_last)
        return best_value, [int(self.places[place]) for place in reversed(chosen)]

    def value_by_count(self, profit: Amounts) -> list[int]:
        """The best true value with exactly 0, 1, 2 … new sessions, as far as so many are possible."""
        values = [0]
        for count, layer in enumerate(self._layers(profit, self.most), start=1):
            top = (layer - self.exit).max()
            if top <= self.money.impossible:
                break
            values.append(int(top) + self.true_rewards[count])
        return values

    def _layers(self, profit: Amounts, most: int) -> list[Amounts]:
        if not len(profit) or most < 1:
            return []
        layers = [profit - self.entry]
        while len(layers) < most and layers[-1].max() > self.money.impossible:
            layers.append(np.maximum(profit + self._best_before(layers[-1]), self.money.never))
        return layers

    def _best_before(self, layer: Amounts) -> Amounts:
        best: Amounts = np.full(len(layer), self.money.never, dtype=self.money.dtype)
        earlier = self.money.never
        for low, high in self.regions:
            best[low:high] = earlier - self.entry[low:high]
            here = self.by_end[low:high]
            tops = np.concatenate(
                [np.array([self.money.never], dtype=self.money.dtype), np.maximum.accumulate(layer[here])]
            )
            rested = np.clip(self.rested[low:high] - low, 0, high - low)
            best[low:high] = np.maximum(best[low:high], tops[rested] - self.short_cost)
            well_apart = np.clip(self.well_apart[low:high] - low, 0, high - low)
            best[low:high] = np.maximum(best[low:high], tops[well_apart])
            earlier = max(earlier, (layer[low:high] - self.exit[low:high]).max())
        return best

    def _before(self, layer: Amounts, later: int) -> int:
        """The session before `later` on the best path."""
        gap = self.at[later] - self.ends
        score = layer - np.where(gap < self.gap, self.short_cost, 0)
        elsewhere = self.region < self.region[later]
        score = np.where(elsewhere, layer - self.exit - self.entry[later], score)
        possible = np.where(elsewhere, True, (gap >= self.recovery) & (self.region == self.region[later]))
        return int(np.argmax(np.where(possible, score, self.money.never)))

    def value_of(self, spans: list[tuple[int, int, int]]) -> int:
        """What these new sessions are worth to the resident: rewards less costs and short gaps.

        `spans`: place among all starts, start and real end in microseconds.
        """
        value = self.true_rewards[len(spans)]
        if spans:
            value -= int(sum(self.costs[np.searchsorted(self.places, [place for place, _, _ in spans])]))
        if not self.short_cost:
            return value
        everything = sorted([(start, end, True) for _, start, end in spans] + self.fixed_spans)
        for (_, end, one_new), (start, _, other_new) in pairwise(everything):
            if (one_new or other_new) and start - end < self.gap:
                value -= self.short_cost
        return value
