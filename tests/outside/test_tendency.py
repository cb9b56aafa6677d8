"""Rank test and robust slope against scipy: L-3, L-4."""

from math import sqrt
from random import Random
from statistics import NormalDist

import pytest
from scipy import stats

from swarfline.measure.tendency import rank_score, rise_chance, robust_slope


def samples(count, length, ties):
    rng = Random(20260101)
    for _ in range(count):
        values = [rng.gauss(0, 1) + 0.02 * n for n in range(length)]
        yield [round(v) for v in values] if ties else values


@pytest.mark.parametrize("length", [10, 20, 40])
def test_l_3_the_chance_of_a_rise_is_close_to_the_exact_one(length):
    for values in samples(30, length, ties=False):
        exact = stats.kendalltau(range(length), values, method="exact", alternative="greater")
        assert rise_chance(values) == pytest.approx(exact.pvalue, abs=0.006)
        pairs = length * (length - 1) / 2
        assert rank_score(values) == pytest.approx(exact.statistic * pairs, abs=1e-9)


def test_l_3_with_ties_the_variance_is_that_of_scipy():
    """scipy takes nothing off S for continuity, so its z is scaled by (S − 1) ÷ S."""
    normal, checked = NormalDist(), 0
    for values in samples(40, 25, ties=True):
        score = rank_score(values)
        if score == 0:
            continue
        plain = stats.kendalltau(range(25), values, method="asymptotic", alternative="greater").pvalue
        z = normal.inv_cdf(1 - plain) * (score - 1) / score
        assert rise_chance(values) == pytest.approx(1 - normal.cdf(z), rel=1e-7)
        checked += 1
    assert checked > 30


def test_l_3_without_ties_the_variance_in_closed_form():
    """n (n − 1) (2 n + 5) ÷ 18, here 11 · 10 · 27 ÷ 18 = 165."""
    values = list(range(11))
    assert rise_chance(values) == pytest.approx(1 - NormalDist().cdf((55 - 1) / sqrt(165)), rel=1e-12)


@pytest.mark.parametrize("ties", [False, True])
def test_l_4_robust_slope(ties):
    for values in samples(30, 25, ties):
        places = [n // 2 if ties else n * 0.7 for n in range(25)]
        assert robust_slope(places, values) == pytest.approx(stats.theilslopes(values, places).slope, abs=1e-12)
