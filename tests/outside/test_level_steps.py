"""Level steps against scipy and ruptures, and against the rate of false alarms that they promise."""

import numpy as np
import pytest
import ruptures
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from swarfline.measure.levels import ALPHA, LEAST_VALUES, best_split, find_steps, mid_ranks, step_size

values_lists = st.lists(st.integers(0, 12).map(float), min_size=2 * LEAST_VALUES, max_size=60)


@settings(deadline=None)
@given(values_lists)
def test_the_best_place_is_the_one_of_the_clearest_mann_whitney_test(values):
    """Reference library: scipy.stats.mannwhitneyu, normal approximation with ties, no continuity correction."""
    found = best_split(values)
    places = range(LEAST_VALUES, len(values) - LEAST_VALUES + 1)
    judged = [
        stats.mannwhitneyu(values[:k], values[k:], use_continuity=False, method="asymptotic").pvalue
        for k in places
        if len(set(values)) > 1
    ]
    if found is None:
        assert not judged or min(judged) == pytest.approx(1)
    else:
        assert judged[found.place - LEAST_VALUES] == pytest.approx(min(judged), rel=1e-9)
        assert found.p_untied == pytest.approx(min(1, len(places) * min(judged)), rel=1e-9)


@given(st.lists(st.integers(0, 9).map(float), min_size=1, max_size=40))
def test_ranks_agree_with_scipy(values):
    """Reference library: scipy.stats.rankdata, mean ranks of equals."""
    assert mid_ranks(values)[0] == pytest.approx(list(stats.rankdata(values)))


@pytest.mark.parametrize("seed", range(6))
def test_the_interval_is_yuen_s(seed):
    """Reference library: scipy.stats.ttest_ind with trim=0.1, equal_var=False (Yuen, Biometrika 61, 1974)."""
    source = np.random.default_rng(seed)
    before = list(source.normal(100, 1, source.integers(10, 80)))
    after = list(source.normal(102, 3, source.integers(10, 80)))
    found = step_size(before, after)
    expected = stats.ttest_ind(after, before, trim=0.1, equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), abs=2e-3)
    assert found.size == pytest.approx(stats.trim_mean(after, 0.1) - stats.trim_mean(before, 0.1), abs=1e-9)


LEVELS = {
    "one up": [(120, 100), (90, 103)],
    "one down": [(60, 100), (200, 96)],
    "up and back": [(150, 100), (50, 104), (150, 100)],
    "five": [(80, 100), (60, 103), (90, 99), (70, 104), (50, 101)],
    "long": [(800, 100), (1200, 102), (100, 99), (1900, 101)],
}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", LEVELS)
def test_places_agree_with_ruptures(name, seed):
    """Reference library: ruptures, the least squares of as many steps as were made.

    The series are made up with known steps of three to five times the noise; either may miss one by a few values.
    """
    levels = LEVELS[name]
    heights = np.concatenate([np.full(count, float(level)) for count, level in levels])
    values = heights + np.random.default_rng(seed).normal(0, 1, len(heights))
    true = list(np.cumsum([count for count, _ in levels])[:-1])
    search = ruptures.KernelCPD(kernel="linear", min_size=LEAST_VALUES).fit(values)
    reference = search.predict(n_bkps=len(true))[:-1]
    found = [place for place, _ in find_steps(list(values))]
    assert found == pytest.approx(true, abs=6)
    assert found == pytest.approx(reference, abs=6)


@pytest.mark.parametrize("tie", [0.0, 0.5])
def test_false_alarms_are_as_rare_as_promised(tie):
    """By simulation (numpy): series of one level, with neighbours tied or not, seldom show a step."""
    source = np.random.default_rng(20260310)
    alarms = 0
    for _ in range(300):
        noise = source.normal(0, 1, 120)
        for i in range(1, len(noise)):
            noise[i] = tie * noise[i - 1] + np.sqrt(1 - tie**2) * noise[i]
        alarms += bool(find_steps(list(noise)))
    assert alarms <= 300 * 2 * ALPHA
