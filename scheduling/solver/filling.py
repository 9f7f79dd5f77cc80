"""A roster while it is made: whose sessions lie where, what that is worth, and how one resident's week is placed."""

from dataclasses import dataclass

import numpy as np

from scheduling.problem import Problem, Roster
from scheduling.solver.board import Board, Placement
from scheduling.solver.layout import Layout, lay_out, to_microseconds
from scheduling.solver.money import Money, money_for
from scheduling.solver.starts import Flags, help_is_there, starts_of, stations_may_be_there
from scheduling.solver.weeks import Amounts, Weeks

# After so many weeks that looked possible and had no order of stations, a resident is left for a later try.
MOST_TRIES = 80

Week = tuple[Placement, ...]


@dataclass(frozen=True, slots=True)
class Friend:
    """The other resident of a pair, and the reward for each start that both have."""

    place: int
    reward: int


class Filling:
    """Residents by their place in the problem; every session on the board keeps every rule."""

    def __init__(self, problem: Problem, kept: Roster | None) -> None:
        self.problem = problem
        self.layout: Layout = lay_out(problem)
        self.board = Board(self.layout)
        self.money: Money = money_for(problem, sessions_kept=len(kept.sessions) if kept else 0)
        self.weeks = [Weeks(starts_of(self.layout, self.board, resident), self.money) for resident in problem.residents]
        self.placed: list[Week] = [() for _ in problem.residents]
        self.worth = [0 for _ in problem.residents]
        self.extra = 0
        self._place_of = {resident.id: place for place, resident in enumerate(problem.residents)}
        self._fixed_starts = [
            frozenset(to_microseconds(fixed.start) for fixed in resident.fixed) for resident in problem.residents
        ]
        self._starts = [set(fixed) for fixed in self._fixed_starts]
        self._pair_up()
        self._prepare_profits(kept)

    def _pair_up(self) -> None:
        self.together: list[list[Friend]] = [[] for _ in self.weeks]
        self.apart: list[list[int]] = [[] for _ in self.weeks]
        self.pairs = []
        for pair in self.problem.together:
            one, other = (self._place_of[name] for name in pair.residents)
            reward = self.money.whole(pair.reward)
            self.together[one].append(Friend(other, reward))
            self.together[other].append(Friend(one, reward))
            self.pairs.append((one, other, reward))
        for names in self.problem.apart:
            one, other = (self._place_of[name] for name in names)
            self.apart[one].append(other)
            self.apart[other].append(one)

    def _prepare_profits(self, kept: Roster | None) -> None:
        self.stays: list[set[int]] = [set() for _ in self.weeks]
        for session in kept.sessions if kept else ():
            if session.resident in self._place_of:
                self.stays[self._place_of[session.resident]].add(to_microseconds(session.start))
        self.profits: list[Amounts] = []
        for weeks, stays in zip(self.weeks, self.stays, strict=True):
            profit = -weeks.costs
            if stays:
                profit[np.isin(weeks.at, list(stays))] += self.money.stay_bonus
            self.profits.append(profit)

    def value(self) -> int:
        """What the search looks at, in whole money: rewards and sessions that stay outweigh the rest."""
        return self.true_value() + self.extra

    def true_value(self) -> int:
        """Of everything on the board, in whole money, as the problem defines it."""
        total = sum(self.worth)
        for one, other, reward in self.pairs:
            shared = self._starts[one] & self._starts[other]
            total += reward * len(shared - (self._fixed_starts[one] & self._fixed_starts[other]))
        return total

    def missing(self, place: int) -> int:
        return self.problem.residents[place].sessions - len(self.placed[place])

    def fitting(self, place: int) -> Flags:
        """By legal start: may a session still be put there, as far as can be said without trying stations."""
        weeks = self.weeks[place]
        allowed = help_is_there(self.board, weeks.starts) & stations_may_be_there(self.board, weeks.starts)
        fits: Flags = allowed[weeks.places] & self.keeps_apart(place)
        return fits

    def keeps_apart(self, place: int) -> Flags:
        weeks = self.weeks[place]
        keeps: Flags = np.ones(len(weeks.at), dtype=np.bool_)
        for other in self.apart[place]:
            for placement in self.placed[other]:
                keeps &= (weeks.ends <= placement.at) | (placement.end <= weeks.at)
        return keeps

    def plan(self, place: int, most: int | None = None) -> None:
        """Places the best week that fits beside the others; the resident has nothing placed."""
        weeks = self.weeks[place]
        if not len(weeks.places):
            return
        profit = self.profits[place].copy()
        for friend in self.together[place]:
            profit[np.isin(weeks.at, list(self._starts[friend.place]))] += friend.reward
        profit[~self.fitting(place)] = self.money.never
        for _ in range(MOST_TRIES):
            _, chosen = weeks.best(profit, most)
            refused = self._place(place, chosen)
            if refused is None:
                return
            profit[np.searchsorted(weeks.places, refused)] = self.money.never

    def _place(self, place: int, chosen: list[int]) -> int | None:
        """Puts these starts on the board; the first that fails is answered, and then none is left there."""
        starts = self.weeks[place].starts
        week: list[Placement] = []
        for position, start in enumerate(chosen):
            latest = self.latest_end(place, start, chosen[position + 1 : position + 2])
            placement = self.board.placed(starts.needs, starts.stations_at(start), starts.spot(start), latest)
            if placement is None:
                for earlier in week:
                    self.board.take_off(starts.needs, earlier)
                return start
            week.append(placement)
        self.hold(place, tuple(week), on_board=True)
        return None

    def latest_end(self, place: int, start: int, following: list[int]) -> int:
        """Waits may make a session longer than its soonest end, but not into rest, or into somebody kept apart."""
        weeks = self.weeks[place]
        latest = int(weeks.starts.latest_ends[start])
        at = int(weeks.starts.at[start])
        for later in following:
            latest = min(latest, int(weeks.starts.at[later]) - weeks.recovery)
        for other in self.apart[place]:
            latest = min([latest, *(session.at for session in self.placed[other] if session.at >= at)])
        return latest

    def hold(self, place: int, week: Week, *, on_board: bool = False) -> None:
        """Takes this week as the resident's; puts it on the board unless it is there already."""
        weeks = self.weeks[place]
        if not on_board:
            for placement in week:
                self.board.put(weeks.starts.needs, placement)
        self.placed[place] = week
        self._starts[place] = {*self._fixed_starts[place], *(placement.at for placement in week)}
        self.worth[place] = weeks.value_of([(placement.start, placement.at, placement.end) for placement in week])
        self.extra += self._extra_of(place)

    def _extra_of(self, place: int) -> int:
        """What the week on the board counts beyond its true value, so that sessions stay."""
        week, weeks = self.placed[place], self.weeks[place]
        stays = sum(placement.at in self.stays[place] for placement in week)
        return stays * self.money.stay_bonus + weeks.rewards[len(week)] - weeks.true_rewards[len(week)]

    def clear(self, place: int) -> Week:
        """Takes the resident's new sessions off the board and answers them."""
        week = self.placed[place]
        self.extra -= self._extra_of(place)
        for placement in week:
            self.board.take_off(self.weeks[place].starts.needs, placement)
        self.placed[place] = ()
        self._starts[place] = set(self._fixed_starts[place])
        self.worth[place] = 0
        return week
