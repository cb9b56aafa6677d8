"""Capability against NIST's formulas, constructed values, and scipy."""

import numpy as np
import pytest
from scipy import stats

from swarfline.measure.distributions import chi_square_quantile
from swarfline.measure.runoff import capability, capability_interval, share_interval
from swarfline.measure.trend import deviation, individuals, mean

DIAMETERS = [10.002, 10.005, 9.998, 10.001, 10.004, 9.999, 10.003, 10.0, 10.002, 9.997,
             10.006, 10.001, 9.999, 10.003, 10.002, 10.0, 10.004, 9.998, 10.001, 10.005]  # fmt: skip


def test_c_1_index_of_one_limit():
    """NIST/SEMATECH e-Handbook 6.1.6: upper limit 20, mean 16, s 2 gives 0.6667."""
    assert capability(16, 2, 20) == pytest.approx(2 / 3, rel=1e-12)


def test_c_4_twenty_values_against_the_nearer_limit():
    """By hand: the upper limit 10.02 is the nearer one, so this is the Cmk 2.404209; 1.762187 within."""
    assert capability(mean(DIAMETERS), deviation(DIAMETERS), 10.02) == pytest.approx(2.404209271719542, rel=1e-9)
    assert capability(mean(DIAMETERS), individuals(DIAMETERS).sigma, 10.02) == pytest.approx(
        1.762186666666723, rel=1e-9
    )


@pytest.mark.parametrize(("count", "low", "high"), [(100, 0.860826, 1.138943), (50, 0.802482, 1.197126)])
def test_c_3_factors_of_a_two_sided_index(count, low, high):
    """√(χ² ÷ (n − 1)), the formula of NIST/SEMATECH e-Handbook 6.1.6 (from memory)."""
    factors = [np.sqrt(chi_square_quantile(p, count - 1) / (count - 1)) for p in (0.025, 0.975)]
    assert factors == pytest.approx([low, high], abs=5e-7)
    # far from the limit the mean is known well enough, and the spread alone makes the interval of one limit
    assert capability_interval(200.0, count) == pytest.approx((200 * low, 200 * high), rel=1e-4)


@pytest.mark.parametrize("count", [5, 30, 50, 200])
@pytest.mark.parametrize("index", [-0.3, 0.2, 0.9, 1.5, 2.2])
def test_intervals_are_those_of_the_noncentral_t_of_scipy(count, index):
    scale = 3 * np.sqrt(count)
    ends = capability_interval(index, count)
    found = [float(stats.nct.cdf(scale * index, count - 1, scale * true)) for true in ends]
    assert found == pytest.approx([0.975, 0.025], abs=1e-9)


@pytest.mark.parametrize("count", [10, 50])
def test_intervals_are_near_the_usual_approximation(count):
    """index ± 1.96 √(1/(9n) + index²/(2n − 2)), Bissell 1990 (from memory): within 0.1 for 50 values."""
    half = 1.959964 * np.sqrt(1 / (9 * count) + 1.33**2 / (2 * count - 2))
    assert capability_interval(1.33, count) == pytest.approx((1.33 - half, 1.33 + half), abs=5 * 0.1 / count**0.5)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """Simulation, 300 runs of 30, seed 20260101: 95 % ± 3 %."""
    random = np.random.default_rng(20260101)
    held = 0
    for _ in range(300):
        values = random.normal(40, 1, 30)
        index = capability(float(np.mean(values)), float(np.std(values, ddof=1)), 44)
        low, high = capability_interval(index, 30)
        held += low <= 4 / 3 <= high
    assert 0.92 <= held / 300 <= 0.98


@pytest.mark.parametrize(("hits", "count"), [(0, 50), (1, 50), (7, 30), (49, 50), (50, 50), (3, 1000)])
def test_shares_agree_with_scipy(hits, count):
    """scipy: binomtest, method exact."""
    expected = stats.binomtest(hits, count).proportion_ci(0.95, "exact")
    assert share_interval(hits, count) == pytest.approx((expected.low, expected.high), rel=1e-9)
