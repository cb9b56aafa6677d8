"""Weibull fit: what it refuses, what it must not depend on, and that its intervals hold what they promise."""

from math import inf
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.measure.roots import root
from swarfline.measure.survival import Lifetime
from swarfline.measure.weibull import LEAST_FAILURES, Weibull, fit


def failed(*used):
    return [Lifetime(u, True) for u in used]


def lasted(*used):
    return [Lifetime(u, False) for u in used]


def test_too_few_failures_are_not_enough():
    assert fit([]) is None
    assert fit(failed(*range(1, LEAST_FAILURES)) + lasted(*[10] * 100)) is None
    assert fit(failed(*range(1, LEAST_FAILURES + 1))) is not None


def test_failures_without_spread_give_no_law():
    assert fit(failed(*[100] * 8)) is None
    assert fit(failed(*[100] * 8) + lasted(50, 60)) is None
    assert fit(failed(*[100] * 8) + lasted(150)) is not None


def test_a_life_of_nothing_is_refused():
    with pytest.raises(ValueError, match="life of 0"):
        fit(failed(0, 1, 2, 3, 4, 5))


SAMPLE = failed(54, 187, 216, 240, 335) + lasted(200, 500, 500)


def test_numbers_are_told():
    found = fit(SAMPLE)
    assert (found.failures, found.censored) == (5, 3)


@given(st.permutations(SAMPLE), st.sampled_from([1e-6, 1e-3, 1.0, 7.0, 1e9]))
def test_neither_order_nor_unit_matters(sample, factor):
    found, plain = fit([Lifetime(n.used * factor, n.failed) for n in sample]), fit(SAMPLE)
    assert found.law.shape == pytest.approx(plain.law.shape, rel=1e-9)
    assert found.law.scale == pytest.approx(plain.law.scale * factor, rel=1e-9)
    assert found.scale_interval == pytest.approx([end * factor for end in plain.scale_interval], rel=1e-6)


def test_more_censored_lives_stretch_the_scale():
    scales = [fit(SAMPLE + lasted(*[500] * more)).law.scale for more in (0, 5, 50)]
    assert scales == sorted(scales) and scales[0] < scales[2]


def test_lives_of_very_large_shape_do_not_overflow():
    found = fit(failed(*(1e5 + 10 * n for n in range(8))))
    assert 1e3 < found.law.shape < 1e4 and found.law.scale == pytest.approx(1e5, rel=1e-3)
    assert fit(failed(*(1e5 + n / 10 for n in range(8)))) is None, "that is no spread"


def test_the_law_in_itself():
    law = Weibull(2.5, 1000)
    for p in (0.1, 0.5, 0.9):
        assert law.survival(law.quantile(p)) == pytest.approx(1 - p)
    assert law.used_to(0) == 0
    assert law.used_to(law.end * 3) == pytest.approx(law.mean, rel=1e-9)
    step = 1e-4
    slope = (law.used_to(700 + step) - law.used_to(700 - step)) / (2 * step)
    assert slope == pytest.approx(law.survival(700), rel=1e-6)
    assert Weibull(1, 50).hazard(3) == pytest.approx(1 / 50)
    assert Weibull(1, 50).used_to(20) == pytest.approx(50 * (1 - Weibull(1, 50).survival(20)))


def test_a_steep_law_far_beyond_its_scale_does_not_overflow():
    law = Weibull(5000, 10)
    assert law.survival(100) == 0 and law.hazard(100) > 1e100
    assert law.used_to(100) == pytest.approx(law.mean)
    assert law.survival(0) == 1 and law.survival(1) == 1


def test_intervals_hold_the_estimate_and_follow_from_the_contour():
    found = fit(SAMPLE)
    for low, value, high in (
        (found.shape_interval[0], found.law.shape, found.shape_interval[1]),
        (found.scale_interval[0], found.law.scale, found.scale_interval[1]),
    ):
        assert 0 < low < value < high < inf


def test_nineteen_of_twenty_intervals_hold_the_true_law():
    """300 samples of 30 lives, cut at a use that a third does not reach: 95 % ± 3 standard errors."""
    rng, kept, shapes, scales = Random(5), 0, 0, 0
    for _ in range(300):
        lives = [rng.weibullvariate(1.0, 2.5) for _ in range(30)]
        found = fit([Lifetime(min(n, 0.9), n < 0.9) for n in lives])
        if found is not None:
            kept += 1
            shapes += found.shape_interval[0] <= 2.5 <= found.shape_interval[1]
            scales += found.scale_interval[0] <= 1.0 <= found.scale_interval[1]
    assert kept > 290
    assert 0.912 <= shapes / kept <= 0.988 and 0.912 <= scales / kept <= 0.988


def test_roots_are_found_and_what_has_none_is_refused():
    assert root(lambda x: x**3 - 2, 0, 5) == pytest.approx(2 ** (1 / 3), rel=1e-12)
    assert root(lambda x: x, 0, 1) == 0 and root(lambda x: x - 1, 0, 1) == 1
    assert root(lambda x: -1 if x < 1e-9 else 1, 0, 1) == pytest.approx(1e-9, rel=1e-9)
    with pytest.raises(ValueError, match="no change of sign"):
        root(lambda x: x + 1, 0, 1)
