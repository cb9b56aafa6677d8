"""Two samples against NIST, Hollander & Wolfe, and scipy, an independent library.

Second against first: where the source has "old − new", the new sample is given first.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from swarfline.measure.ranks import Ranks
from swarfline.measure.study import effective_count, mean_difference
from swarfline.measure.trend import deviation, mean

OLD = [32.0, 37, 35, 28, 41, 44, 35, 31, 34, 38, 42]
NEW = [36.0, 31, 30, 31, 34, 36, 29, 32, 31]
X = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
Y = [1.15, 0.88, 0.90, 0.74, 1.21]


def test_t_2_ranks_with_ties():
    """The minutes of T-1; scipy and R: U 74.5, p 0.061313, shift 4.0."""
    found = Ranks.of(NEW, OLD)
    assert (found.u, found.exact) == (74.5, False)
    assert found.p == pytest.approx(0.06131310854964873, rel=1e-9)
    assert found.shift == 4.0
    assert found.second_is_less == pytest.approx(1 - 74.5 / 99)


def test_t_3_ranks_of_small_samples():
    """Hollander & Wolfe 1973, p. 69, as in the help of R: U 35, p 0.2544, shift 0.305, interval −0.15 to 0.76."""
    found = Ranks.of(Y, X)
    assert (found.u, found.exact) == (35, True)
    assert found.p == pytest.approx(0.2544122544122544, rel=1e-12)
    assert found.shift == pytest.approx(0.305, rel=1e-12)
    assert found.shift_interval == pytest.approx((-0.15, 0.76), rel=1e-12)


fine = st.lists(st.floats(0, 100).map(lambda v: round(v, 6)), min_size=2, max_size=40)
coarse = st.lists(st.integers(1, 8).map(float), min_size=2, max_size=70)


@settings(deadline=None)
@given(fine | coarse, fine | coarse)
def test_u_and_p_agree_with_scipy(first, second):
    found = Ranks.of(first, second)
    if len(set(first + second)) == 1:
        assert found.p == 1
        return
    method = "exact" if found.exact else "asymptotic"
    expected = stats.mannwhitneyu(second, first, method=method)
    assert found.u == expected.statistic
    assert found.p == pytest.approx(float(expected.pvalue), rel=1e-9, abs=1e-15)


@settings(deadline=None)
@given(fine | coarse, fine | coarse, st.floats(0, 1))
def test_differences_are_those_of_all_pairs(first, second, share):
    """numpy: all pairs, sorted."""
    ordered = np.sort(np.subtract.outer(np.array(second), np.array(first)).ravel())
    found = Ranks.of(first, second)
    place = 1 + int(share * (len(ordered) - 1))
    assert found.difference(place) == ordered[place - 1]
    assert found.shift == pytest.approx(float(np.median(ordered)), rel=1e-12, abs=1e-12)


def test_an_interval_needs_enough_values():
    """2 ÷ C(7, 3) = 0.057 is above 0.05, 2 ÷ C(8, 4) = 0.029 is not (arithmetic)."""
    assert Ranks.of([1.0, 2, 3], [4.0, 5, 6, 7]).shift_interval is None
    assert Ranks.of([1.0, 2, 3, 4], [5.0, 6, 7, 8.5]).shift_interval == (1.0, 7.5)


def test_an_interval_needs_enough_values_with_ties_too():
    """3 · 3 pairs: 4.5 − 1.96 · 2.2 is below the first difference (arithmetic)."""
    assert Ranks.of([1.0, 1, 2], [2.0, 3, 3]).shift_interval is None


def test_where_the_exact_distribution_ends():
    small, large = list(map(float, range(0, 98, 2))), list(map(float, range(1, 101, 2)))
    assert (len(small), len(large)) == (49, 50)
    assert Ranks.of(small, large[:49]).exact and not Ranks.of(small, large).exact


@pytest.mark.parametrize(("sizes", "grid"), [((8, 12), None), ((60, 55), None), ((60, 80), 0.5)])
def test_shift_intervals_hold_the_truth_as_often_as_they_say(sizes, grid):
    """Simulation, 1000 runs, seed 20260101: 95 % ± 2 %; with few values or coarse ones it may be surer."""
    random = np.random.default_rng(20260101)
    held = 0
    for _ in range(1000):
        first, second = random.normal(40, 2, sizes[0]), random.normal(41, 2, sizes[1])
        if grid:
            first, second = np.round(first / grid) * grid, np.round(second / grid) * grid
        low, high = Ranks.of(list(first), list(second)).shift_interval
        held += low <= 1 <= high
    assert 0.93 <= held / 1000 <= (1 if grid else 0.975)


def test_t_1_means():
    """NIST/SEMATECH e-Handbook 7.3.1, assembly minutes: prints t 2.2694, df 15.5; scipy, statsmodels, R agree."""
    found = mean_difference(NEW, OLD)
    assert (found.t, found.df) == (pytest.approx(2.2694, abs=5e-5), pytest.approx(15.5, abs=5e-2))
    assert (found.t, found.df) == pytest.approx((2.26937313336195, 15.5325143535479), rel=1e-9)
    assert found.p == pytest.approx(0.03787947613890899, rel=1e-9)
    assert found.interval == pytest.approx((0.24594346796958488, 7.491430269404159), rel=1e-9)
    assert (mean(OLD), mean(NEW)) == pytest.approx((36.09090909090909, 32.22222222222222))
    assert (deviation(OLD), deviation(NEW)) == pytest.approx((4.908249086070214, 2.5385910352879693))


@settings(deadline=None)
@given(fine, fine)
def test_means_agree_with_scipy(first, second):
    counts = effective_count(first), effective_count(second)
    found = mean_difference(first, second)
    if counts != (len(first), len(second)) or min(np.ptp(first), np.ptp(second)) < 1e-3:
        return
    expected = stats.ttest_ind(second, first, equal_var=False)
    interval = expected.confidence_interval(0.95)
    assert (found.t, found.df) == pytest.approx((expected.statistic, expected.df), rel=1e-7, abs=1e-9)
    assert found.p == pytest.approx(float(expected.pvalue), rel=1e-6, abs=1e-12)
    assert found.interval == pytest.approx((interval.low, interval.high), rel=1e-6, abs=1e-9)


def test_effective_counts_keep_the_promise_of_the_interval():
    """Simulation, 600 runs, seed 20260101: values that keep 0.6 of the one before; by all n 95 % become 78 %."""
    random = np.random.default_rng(20260101)
    honest = naive = 0
    for _ in range(600):
        low, high = mean_difference(_follow(random, 0.6, 300), _follow(random, 0.0, 300)).interval
        honest += low <= 0 <= high
        first, second = _follow(random, 0.6, 300), _follow(random, 0.0, 300)
        plain = stats.ttest_ind(second, first, equal_var=False).confidence_interval(0.95)
        naive += plain.low <= 0 <= plain.high
    assert 0.92 <= honest / 600 <= 0.97
    assert naive / 600 < 0.85


def _follow(random, share, count):
    """Values around 0 that each keep a share of the one before, with a spread of 1."""
    values = [random.normal()]
    for _ in range(count - 1):
        values.append(share * values[-1] + random.normal() * np.sqrt(1 - share**2))
    return values
