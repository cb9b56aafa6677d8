"""Distributions against scipy, an independent library, and against closed forms."""

from math import atan, isnan, pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from swarfline.measure.distributions import (
    NoncentralT,
    beta_cdf,
    beta_quantile,
    chi_square_cdf,
    chi_square_quantile,
    normal_cdf,
    normal_quantile,
    t_cdf,
    t_quantile,
)

P = [1e-9, 1e-4, 0.00135, 0.025, 0.05, 0.3, 0.49, 0.5, 0.51, 0.9, 0.975, 0.995, 0.99865, 0.99999]
DF = [0.5, 1, 2, 3, 4.7, 15.532514, 18, 49, 120, 999, 10_000]


@pytest.mark.parametrize("x", [-30, -6, -1.959963984540054, -0.1, 0, 0.5, 3, 8])
def test_normal_probabilities(x):
    assert normal_cdf(x) == pytest.approx(float(stats.norm.cdf(x)), rel=1e-12)


@pytest.mark.parametrize("p", P)
def test_normal_quantiles(p):
    assert normal_quantile(p) == pytest.approx(float(stats.norm.ppf(p)), rel=1e-12, abs=1e-15)


def test_c_2_shares_of_the_normal_distribution():
    """±3 σ hold 0.9973002039; 0.00134990 lie below −3 σ (textbook table, from memory; scipy agrees)."""
    assert normal_cdf(3) - normal_cdf(-3) == pytest.approx(0.9973002039, abs=1e-10)
    assert normal_cdf(-3) == pytest.approx(0.00134990, abs=5e-9)


@pytest.mark.parametrize("df", DF)
@pytest.mark.parametrize("p", P)
def test_quantiles_of_t_and_chi_square(p, df):
    assert t_quantile(p, df) == pytest.approx(float(stats.t.ppf(p, df)), rel=1e-9, abs=1e-12)
    assert chi_square_quantile(p, df) == pytest.approx(float(stats.chi2.ppf(p, df)), rel=1e-9)


@pytest.mark.parametrize("df", DF)
@pytest.mark.parametrize("x", [-40, -3.2, -1, -0.01, 0, 1e-6, 0.7, 2.269373, 12, 300])
def test_probabilities_of_t_and_chi_square(x, df):
    assert t_cdf(x, df) == pytest.approx(float(stats.t.cdf(x, df)), rel=1e-9, abs=1e-14)
    assert chi_square_cdf(x, df) == pytest.approx(float(stats.chi2.cdf(x, df)), rel=1e-9, abs=1e-14)


SHAPES = [(0.5, 0.5), (1, 1), (1, 50), (50, 1), (3, 48), (12.5, 0.7), (200, 300), (5000, 20)]


@pytest.mark.parametrize(("a", "b"), SHAPES)
@pytest.mark.parametrize("p", P)
def test_beta(p, a, b):
    x = float(stats.beta.ppf(p, a, b))
    assert beta_quantile(p, a, b) == pytest.approx(x, rel=1e-9)
    assert beta_cdf(p, a, b) == pytest.approx(float(stats.beta.cdf(p, a, b)), rel=1e-9, abs=1e-14)


@given(st.floats(-50, 50))
def test_t_of_one_and_two_degrees_in_closed_form(x):
    """Cauchy: 1/2 + atan(x)/π; two degrees: 1/2 + x/(2√(2 + x²)) (textbook, from memory)."""
    assert t_cdf(x, 1) == pytest.approx(0.5 + atan(x) / pi, abs=1e-12)
    assert t_cdf(x, 2) == pytest.approx(0.5 + x / (2 * sqrt(2 + x * x)), abs=1e-12)


@pytest.mark.parametrize("df", [1, 2, 4, 9, 24, 49, 99])
@pytest.mark.parametrize("ncp", [-3, 0, 0.5, 4, 12, 28])
@pytest.mark.parametrize("t", [-2.5, 0, 0.8, 5, 14, 30])
def test_noncentral_t(t, ncp, df):
    """To 1e-9 absolute: scipy's own tails are no better in places, and some of them it cannot tell."""
    found, expected = NoncentralT(t, df).cdf(ncp), float(stats.nct.cdf(t, df, ncp))
    if isnan(expected):
        # T below 0 needs Z below −noncentrality
        assert t < 0 and found <= normal_cdf(-ncp) < 1e-30
    else:
        assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("t", "df"), [(0.0, 9), (-4.0, 24), (12.0, 49), (28.28, 49), (150.0, 999), (2000.0, 49)])
@pytest.mark.parametrize("p", [0.025, 0.05, 0.5, 0.95, 0.975])
def test_noncentrality_is_where_the_probability_is_met(t, df, p):
    found = NoncentralT(t, df)
    assert found.cdf(found.noncentrality(p)) == pytest.approx(p, abs=1e-10)


def test_noncentral_t_without_noncentrality_is_the_t_distribution():
    for x in (-3.0, 0.4, 2.269373):
        assert NoncentralT(x, 15.5).cdf(0) == pytest.approx(t_cdf(x, 15.5), abs=1e-12)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, 1.5])
def test_no_quantile_at_the_ends(p):
    for ask in (normal_quantile, lambda q: t_quantile(q, 3), lambda q: beta_quantile(q, 1, 2)):
        with pytest.raises(ValueError, match="no probability"):
            ask(p)
    with pytest.raises(ValueError, match="above 0"):
        chi_square_quantile(0.5, 0)
