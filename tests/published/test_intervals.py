"""The interval of a share, against published tables."""

import pytest

from reports.statistics import wilson

# Newcombe RG 1998, Statistics in Medicine 17:857-872, table I, method 3 (score, no continuity correction), 95 %.
# The pairs 81/263 and 15/148 as reprinted with R's functions; 0/20 and 1/29 from memory; all recomputed.
NEWCOMBE = {(81, 263): (0.2553, 0.3662), (15, 148): (0.0624, 0.1605), (0, 20): (0, 0.1611), (1, 29): (0.0061, 0.1718)}

# The government test set of PHEindicatormethods, testdata_Proportion: score intervals at 95 % and 99.8 %.
PUBLIC_HEALTH = {
    (1, 100): (0.0017674320640, 0.0544861961787, 0.00087306570, 0.10455445284),
    (5, 100): (0.0215436791544, 0.1117504692319, 0.01386532073, 0.16458852283),
    (20, 100): (0.1333669333310, 0.2888291655932, 0.10519162067, 0.34711094170),
    (65, 100): (0.5525444329689, 0.7363575175690, 0.49549465741, 0.77835406141),
    (9856, 12345): (0.7912101752909, 0.8053640073615, 0.78699241084, 0.80930614126),
}

# Recomputed with general libraries of statistics (SciPy, statsmodels); not published as a table.
RECOMPUTED = {
    (1, 1): (0.2065, 1),
    (0, 1): (0, 0.7935),
    (8, 8): (0.6756, 1),
    (10, 10): (0.7225, 1),
    (20, 20): (0.8389, 1),
    (29, 29): (0.8830, 1),
    (45, 50): (0.7864, 0.9565),
    (96, 104): (0.8555, 0.9605),
    (340, 400): (0.8117, 0.8817),
}

# Beside the rule of three (Hanley and Lippman-Hand 1983): the score's upper end for none in n, recomputed.
NONE_OF = {
    1: 0.79345,
    10: 0.27753,
    15: 0.20388,
    20: 0.16113,
    30: 0.11351,
    50: 0.07135,
    100: 0.03699,
    167: 0.02249,
    300: 0.01264,
    1000: 0.00383,
}


@pytest.mark.parametrize(("of", "ends"), [*NEWCOMBE.items(), *RECOMPUTED.items()])
def test_the_ends_are_those_of_the_tables(of: tuple[int, int], ends: tuple[float, float]) -> None:
    interval = wilson(*of)

    assert (round(interval.low, 4), round(interval.high, 4)) == ends


@pytest.mark.parametrize(("of", "ends"), PUBLIC_HEALTH.items())
def test_the_ends_are_those_of_the_government_test_set(of: tuple[int, int], ends: tuple[float, ...]) -> None:
    ordinary, wide = wilson(*of), wilson(*of, confidence=0.998)

    assert (ordinary.low, ordinary.high) == pytest.approx(ends[:2], abs=2e-13)
    assert (wide.low, wide.high) == pytest.approx(ends[2:], abs=5e-12)


@pytest.mark.parametrize(("total", "high"), NONE_OF.items())
def test_none_of_many_still_leaves_room(total: int, high: float) -> None:
    interval = wilson(0, total)

    assert (interval.low, round(interval.high, 5)) == (0, high)


def test_nothing_has_no_interval() -> None:
    assert wilson(0, 0) is None


def test_two_buildings_without_a_miss_are_not_equally_sure() -> None:
    """Derived from the same formula: 1 of 1 says far less than 104 of 104."""
    assert (round(wilson(1, 1).low, 4), round(wilson(104, 104).low, 4)) == (0.2065, 0.9644)


def test_more_done_than_there_was_is_an_error() -> None:
    with pytest.raises(ValueError, match="3 of 2"):
        wilson(3, 2)
