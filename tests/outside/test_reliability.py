"""Lives with censoring against published data sets and independent libraries: R-6 to R-15, L-1, L-2.

Data and printed values: NIST/SEMATECH e-Handbook 8.4.1.3 and 8.2.1.5; Abernethy, New Weibull Handbook, appendix
C.5; Lieblein & Zelen 1956; Krivtsov & Case 1999; Freireich 1963 (from memory); Jardine & Tsang, solutions manual,
chapter 2 problem 2; Barlow & Proschan 1965 (from memory). Libraries that gave the digits beyond the printed ones:
lifelines 0.30.3, reliability 0.9.0, surpyval 0.25, R survival 3.5.3; scipy where it is called.
"""

from dataclasses import dataclass
from math import inf, log, sqrt
from random import Random

import numpy as np
import pytest
from scipy import optimize, special, stats

from swarfline.measure.replacement import best_interval, cost_rate
from swarfline.measure.survival import Lifetime, survival_steps
from swarfline.measure.weibull import Weibull, fit

NIST = ((54, 187, 216, 240, 244, 335, 361, 373, 375, 386), (500,) * 10)
HANDBOOK = ((1500, 2250, 4000, 4300, 7000), (1750, 5000))
BEARINGS = (
    (
        17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.48, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64, 68.88,
        84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4,
    ),
    (),
)  # fmt: skip
VEHICLES = (
    (5248, 7454, 16890, 17200, 38700, 45000, 49390, 69040, 72280, 131900),
    (
        3961, 4007, 4734, 6054, 7298, 10190, 23060, 27160, 28690, 37100, 40060, 45670, 53000, 67000, 69630, 77350,
        78470, 91680, 105700, 106300, 150400,
    ),
)  # fmt: skip
SETS = [NIST, HANDBOOK, BEARINGS, VEHICLES]


def lives(failed, lasted):
    return [*(Lifetime(u, True) for u in failed), *(Lifetime(u, False) for u in lasted)]


@pytest.mark.parametrize(
    ("data", "shape", "scale", "likelihood", "tenth", "mean"),
    [
        (NIST, 1.7207972608, 606.5275580036, -75.1346181645, 164.0224386600, 540.7370254695),
        (HANDBOOK, 2.2570432529, 4900.1056868507, -45.8522755725, 1807.9879420068, 4340.2778556884),
        (BEARINGS, 2.1020588752, 81.8783340516, -113.6912909323, 28.0694140107, 72.5186517756),
        (VEHICLES, 1.1544266713, 134651.0374358661, -128.9738322588, 19170.0451996294, 128005.0163047324),
    ],
    ids=["R-6", "R-7", "R-8", "R-9"],
)
def test_most_likely_weibull_law(data, shape, scale, likelihood, tenth, mean):
    found = fit(lives(*data))
    assert found.law.shape == pytest.approx(shape, rel=1e-9)
    assert found.law.scale == pytest.approx(scale, rel=1e-9)
    assert found.log_likelihood == pytest.approx(likelihood, abs=1e-9)
    assert found.law.quantile(0.1) == pytest.approx(tenth, rel=1e-9)
    assert found.law.mean == pytest.approx(mean, rel=1e-9)


def test_the_printed_digits():
    nist, handbook = fit(lives(*NIST)).law, fit(lives(*HANDBOOK)).law
    assert nist.shape == pytest.approx(1.7207, abs=1e-4), "cut off, not rounded"
    assert nist.scale == pytest.approx(606.528, abs=1e-3)
    assert (round(handbook.shape, 3), round(handbook.scale, 1)) == (2.257, 4900.1)


def test_r_6_survival_of_what_has_lasted():
    law = fit(lives(*NIST)).law
    assert law.survival(400) / law.survival(300) == pytest.approx(0.8263382114, rel=1e-9)


def log_likelihood(data, shape, scale):
    failed, lasted = (np.array(part, dtype=float) for part in data)
    law = stats.weibull_min(shape, scale=scale)
    return law.logpdf(failed).sum() + law.logsf(lasted).sum()


@pytest.mark.parametrize("data", SETS, ids=["R-6", "R-7", "R-8", "R-9"])
def test_l_1_intervals_by_the_likelihood_ratio(data):
    """Each end: scipy's likelihood, its highest over the other parameter lies χ²(1, 0.95) ÷ 2 below the top."""
    found = fit(lives(*data))
    drop = stats.chi2.ppf(0.95, 1) / 2

    def over_scales(shape):
        best = optimize.minimize_scalar(
            lambda scale: -log_likelihood(data, shape, np.exp(scale)),
            bounds=(log(found.law.scale) - 4, log(found.law.scale) + 4),
            method="bounded",
            options={"xatol": 1e-10},
        )
        return -best.fun

    def over_shapes(scale):
        best = optimize.minimize_scalar(
            lambda shape: -log_likelihood(data, shape, scale),
            bounds=(0.05, 20),
            method="bounded",
            options={"xatol": 1e-10},
        )
        return -best.fun

    for end in found.shape_interval:
        assert found.log_likelihood - over_scales(end) == pytest.approx(drop, abs=1e-6)
    for end in found.scale_interval:
        # its ends are taken from a contour of 49 shapes
        assert found.log_likelihood - over_shapes(end) == pytest.approx(drop, rel=5e-3)


@pytest.mark.parametrize(
    ("times", "events", "shares", "errors"),
    [
        (
            (10, 32, 56, 98, 122, 181, 50, 100, 125, 150, *(200,) * 10),
            (*(1,) * 6, *(0,) * 14),
            (0.95, 0.9, 0.8470588235, 0.7941176471, 0.7373949580, 0.6703590527),
            (0.0487339717, 0.0670820393, 0.0813883199, 0.0919212798, 0.1013568034, 0.1121406859),
        ),
        (
            (6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35),
            (1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0),
            (0.8571428571, 0.8067226891, 0.7529411765, 0.6901960784, 0.6274509804, 0.5378151261, 0.4481792717),
            (0.0763603548, 0.0869352852, 0.0963496530, 0.1068147078, 0.1140538653, 0.1282337517, 0.1345914568),
        ),
    ],
    ids=["R-10", "R-11"],
)
def test_survival_with_removals(times, events, shares, errors):
    steps = survival_steps([Lifetime(t, bool(e)) for t, e in zip(times, events, strict=True)])
    assert [s.share for s in steps] == pytest.approx(shares, abs=1e-10)
    assert [s.error for s in steps] == pytest.approx(errors, abs=1e-10)


@dataclass
class Even:
    """Lives spread evenly from 0 to ``end``."""

    end: float

    @property
    def mean(self):
        return self.end / 2

    def survival(self, used):
        return 1 - used / self.end

    def hazard(self, used):
        return 1 / max(1e-300, self.end - used)

    def used_to(self, used):
        return used - used**2 / (2 * self.end)


def test_r_12_age_replacement_in_closed_form():
    law = Even(40_000)
    rates = [cost_rate(law, used, 100, 200) for used in (10_000, 20_000, 30_000, 40_000)]
    assert [round(rate, 4) for rate in rates] == [0.0143, 0.01, 0.0093, 0.01]
    best = best_interval(law, 100, 200)
    assert best == pytest.approx(40_000 * (sqrt(3) - 1), rel=1e-9)
    assert cost_rate(law, best, 100, 200) == pytest.approx(0.00933012701892, rel=1e-9)


@pytest.mark.parametrize(
    ("law", "planned", "unplanned", "best", "rate", "to_end"),
    [
        (Weibull(2.5, 1000), 1, 5, 493.0469575966, 0.003462042738782, 0.005635302489930),
        (Weibull(3, 400), 10, 60, 186.4384575161, 0.081467105721, 0.167976978258),
    ],
    ids=["R-13", "R-14"],
)
def test_age_replacement_of_a_weibull_law(law, planned, unplanned, best, rate, to_end):
    assert best_interval(law, planned, unplanned) == pytest.approx(best, rel=1e-8)
    assert cost_rate(law, best, planned, unplanned) == pytest.approx(rate, rel=1e-9)
    assert cost_rate(law, inf, planned, unplanned) == pytest.approx(to_end, rel=1e-9)


def test_r_14_by_drawing_lives():
    """The cost of 200 000 lives drawn and changed at the interval; 0.0814 ± three standard errors."""
    rng, interval = Random(20260101), 186.438458
    lives = [rng.weibullvariate(400, 3) for _ in range(200_000)]
    cost = sum(60 if n < interval else 10 for n in lives) / sum(min(n, interval) for n in lives)
    assert cost == pytest.approx(cost_rate(Weibull(3, 400), interval, 10, 60), rel=0.008)


def test_r_15_no_optimum_without_wear_out():
    assert best_interval(Weibull(1, 1000), 1, 5) == inf


@pytest.mark.parametrize("shape", [0.4, 1.0, 1.7, 3.0, 12.0])
def test_l_2_mean_life_used_to_an_age(shape):
    """scale ÷ shape · γ(1 ÷ shape, x), with scipy's regularised incomplete gamma function."""
    law = Weibull(shape, 500)
    for used in (1e-3, 40, 250, 500, 900, 5000):
        a, x = 1 / shape, (used / 500) ** shape
        expected = 500 / shape * special.gamma(a) * special.gammainc(a, x)
        assert law.used_to(used) == pytest.approx(expected, rel=1e-12)
