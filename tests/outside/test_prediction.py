"""Prediction interval for a sum of values to come, F-2 to F-4: constructed; a textbook formula (from memory)."""

from dataclasses import replace
from random import Random

import pytest

from swarfline.measure.interval import spread_of

HISTORY = [8.31, 8.52, 8.47, 8.29, 8.66, 8.4, 8.55, 8.38, 8.44, 8.61, 8.35, 8.49]


def normal(values):
    """As the formula has it: single values, symmetrical."""
    return replace(spread_of(values, largest_batch=1), skewness=0.0)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        (1, 8.189308904937938, 8.722357761728727),
        (20, 167.24660756854342, 170.98672576478987),
        (100, 837.760314860053, 853.4063518066135),
    ],
)
def test_f_2_interval_of_the_sum(count, low, high):
    """95 %: N·x̄ ± t(0.975, 11)·s·√(N + N²/n); expected values computed with scipy's t."""
    known = normal(HISTORY)
    assert (known.mean, known.deviation) == pytest.approx((8.455833333333333, 0.11634262357625456), rel=1e-12)
    below, above = known.margins(count, 0.975)
    assert (count * known.mean + below, count * known.mean + above) == pytest.approx((low, high), rel=1e-12)


def test_f_3_parts_that_are_safe():
    """1188 s left: 140, 139, 139, 138 parts are safe with 0.5, 0.9, 0.95, 0.99; an 80 % interval ends at 0.9."""
    known = normal(HISTORY)
    for tail, safe in ((0.5, 140), (0.9, 139), (0.95, 139), (0.99, 138)):
        assert safe * known.mean + known.margins(safe, tail)[1] <= 1188
        assert (safe + 1) * known.mean + known.margins(safe + 1, tail)[1] > 1188
    assert known.within(1188)[0] == 139


def test_f_4_coverage():
    """Normal(8.4, 0.12), 12 values, sum of 20: the 95 % interval holds 95 %; with 1.96·s·√20 alone 75 %.

    The reference simulated 20 000 runs: 0.94975 and 0.74655. Here 4 000, with a standard error of 0.35 %.
    """
    rng, held, naive = Random(20_260_101), 0, 0
    for _ in range(4000):
        known = normal([rng.gauss(8.4, 0.12) for _ in range(12)])
        error = sum(rng.gauss(8.4, 0.12) for _ in range(20)) - 20 * known.mean
        low, high = known.margins(20, 0.975)
        held += low <= error <= high
        naive += abs(error) <= 1.96 * known.deviation * 20**0.5
    assert held / 4000 == pytest.approx(0.94975, abs=0.0125)
    assert naive / 4000 == pytest.approx(0.74655, abs=0.025)
