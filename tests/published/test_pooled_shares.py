"""Many buildings as one: sums over sums, and means of ratios only where a published figure is one."""

from reports.statistics import mean, pooled, share, wilson


def test_a_region_is_the_sum_and_not_the_mean_of_its_buildings() -> None:
    # Derived by arithmetic from the rule (Σx / Σn): 1 of 2 and 98 of 98.
    assert pooled([(1, 2), (98, 98)]) == (99, 100)
    assert mean([share(1, 2), share(98, 98)]) == 0.75


def test_three_buildings_of_which_one_published_nothing() -> None:
    """By arithmetic: 45/50, 4/5 and none are 49/55 = 89.1 % (78.2-94.9), not 85.0 %."""
    done, published = pooled([(45, 50), (4, 5), (0, 0)])
    interval = wilson(done, published)

    assert (done, published, round(share(done, published), 3)) == (49, 55, 0.891)
    assert (round(interval.low, 3), round(interval.high, 3)) == (0.782, 0.949)
    assert round(mean([45 / 50, 4 / 5]), 3) == 0.85


def test_nothing_published_is_no_share() -> None:
    assert (share(*pooled([])), share(*pooled([(0, 0)])), mean([])) == (None, None, None)


def test_a_ratio_of_sums_is_not_a_mean_of_ratios() -> None:
    # Fairman CM et al. 2020, Med Sci Sports Exerc 52(2):315-322: 112,835 of 139,886 kg are 80.66 %, while the mean of
    # the individual ratios was published as 77.4 %. Nilsen TS et al. 2018, 50(6):1134-1141: 153.8 of 200.7 MET hours
    # are 76.63 %, published as a mean of ratios of 77 %.
    assert round(share(112_835, 139_886), 4) == 0.8066
    assert round(1538 / 2007, 4) == 0.7663
    assert mean([1.0, 0.5]) == 0.75 != share(*pooled([(100, 100), (1, 2)]))


def test_the_shares_of_the_published_counts() -> None:
    # Nilsen 2018: 185 of 1,800 sessions reduced, 59 ended early (10 % and 3 %); Fairman 2020: 41, 24, 40 and 4 of 47.
    assert [round(100 * share(count, 1800), 2) for count in (185, 59)] == [10.28, 3.28]
    assert [round(100 * share(count, 47), 1) for count in (41, 24, 40, 4)] == [87.2, 51.1, 85.1, 8.5]
