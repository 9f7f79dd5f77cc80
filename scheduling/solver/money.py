"""Rewards and costs as whole numbers of one size, so that nothing is ever decided by rounding."""

from dataclasses import dataclass
from fractions import Fraction
from math import lcm

import numpy as np

from scheduling.problem import Problem, Resident, Value

# Far below any sum of real values, and small enough that several of them still fit 64 bits.
NEVER_IN_64_BITS = -(1 << 55)
NEVER_AT_ALL = -(1 << 200)


@dataclass(frozen=True, slots=True)
class Money:
    """`scale` makes every value whole; rewards count `reward_factor` times where sessions are to be kept."""

    scale: int
    reward_factor: int
    stay_bonus: int
    dtype: type
    never: int

    def whole(self, amount: Value) -> int:
        return int(amount * self.scale)

    def value(self, whole: int) -> Value:
        exact = Fraction(whole, self.scale)
        return int(exact) if exact.denominator == 1 else exact

    @property
    def impossible(self) -> int:
        return self.never // 2


def values_of(problem: Problem) -> list[Value]:
    found: list[Value] = [pair.reward for pair in problem.together]
    for resident in problem.residents:
        found += [*resident.rewards, *soft_values_of(resident)]
    return found


def soft_values_of(resident: Resident) -> list[Value]:
    gap = [resident.short_gap.cost] if resident.short_gap else []
    return [resident.cost.default, *(window.cost for window in resident.cost.windows), *gap]


def money_for(problem: Problem, *, sessions_kept: int = 0) -> Money:
    """Staying is worth more than all soft costs together, and a reward more than all that may stay."""
    scale = lcm(*(Fraction(amount).denominator for amount in values_of(problem)))
    soft = sum(2 * resident.sessions * max(soft_values_of(resident)) for resident in problem.residents)
    # A start together may be won once a session of either.
    soft += sum(pair.reward for pair in problem.together) * sum(resident.sessions for resident in problem.residents)
    bonus = int(soft * scale) + 1 if sessions_kept else 0
    factor = (sessions_kept + 1) * bonus + 1 if sessions_kept else 1
    largest = max((sum(resident.rewards[: resident.sessions]) for resident in problem.residents), default=0)
    fits = (int(largest * scale) + 1) * factor + int(soft * scale) + bonus < -NEVER_IN_64_BITS // 64
    return Money(
        scale=scale,
        reward_factor=factor,
        stay_bonus=bonus,
        dtype=np.int64 if fits else object,
        never=NEVER_IN_64_BITS if fits else NEVER_AT_ALL,
    )
