"""Replacement interval: where it lies, when there is none, and what it must not depend on."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.measure.replacement import (
    NOT_ENOUGH,
    REPLACE,
    RUN_TO_END,
    best_interval,
    cost_rate,
    replacement,
)
from swarfline.measure.survival import Lifetime
from swarfline.measure.weibull import Weibull, fit

WEAR_OUT = [Lifetime(u, True) for u in (230, 280, 320, 340, 365, 380, 400, 415, 450, 490)]
BY_CHANCE = [Lifetime(u, True) for u in (4, 11, 25, 60, 61, 150, 270, 400, 700, 1500)]


@given(st.floats(1.2, 8), st.floats(0.05, 0.8))
def test_no_other_interval_costs_less(shape, ratio):
    law = Weibull(shape, 100.0)
    best = best_interval(law, ratio, 1.0)
    least = cost_rate(law, best, ratio, 1.0)
    for other in (0.5 * best, 0.9 * best, 1.1 * best, 2 * best, inf):
        assert cost_rate(law, other, ratio, 1.0) >= least * (1 - 1e-12)


@pytest.mark.parametrize("shape", [0.5, 0.9, 1.0])
def test_without_wear_out_tools_run_to_the_end(shape):
    assert best_interval(Weibull(shape, 100), 1, 1000) == inf


@pytest.mark.parametrize(("planned", "unplanned"), [(5, 5), (6, 5)])
def test_a_planned_change_that_saves_nothing_is_not_made(planned, unplanned):
    assert best_interval(Weibull(4, 100), planned, unplanned) == inf


def test_dearer_failures_shorten_the_interval():
    found = [best_interval(Weibull(3, 100), 1, unplanned) for unplanned in (2, 5, 20, 1e6)]
    assert found == sorted(found, reverse=True) and found[-1] < 1


def test_a_wear_out_law_supports_an_interval():
    found = replacement(fit(WEAR_OUT), 10, 60, limit=300.0, longest=490.0)
    assert found.state == REPLACE and not found.beyond_seen
    assert found.low < found.interval < found.high
    assert found.rate < found.rate_at_limit < found.rate_to_end
    assert found.saving == pytest.approx(1 - found.rate / found.rate_to_end)


def test_only_the_ratio_of_the_costs_matters():
    one, many = (replacement(fit(WEAR_OUT), 10 * n, 60 * n, 300.0, 490.0) for n in (1, 1000))
    assert many.interval == pytest.approx(one.interval) and many.low == pytest.approx(one.low)
    assert many.rate == pytest.approx(1000 * one.rate)


def test_failures_by_chance_support_none():
    found = replacement(fit(BY_CHANCE), 10, 60, longest=1500.0)
    assert found.beyond_seen is False
    assert (found.state, found.interval, found.high) == (RUN_TO_END, None, None)
    assert found.saving == 0 and found.rate == found.rate_to_end and found.rate_at_limit is None


def test_a_saving_too_small_is_no_reason():
    found = replacement(fit(WEAR_OUT), 10, 10.5, longest=490.0)
    assert found.state == RUN_TO_END and found.interval is None and 0 <= found.saving < 0.05


def test_an_interval_that_no_life_reached_is_marked():
    cut = [Lifetime(min(n.used, 385), n.used < 385) for n in WEAR_OUT]
    assert replacement(fit(cut), 10, 60, longest=385).beyond_seen is False
    assert replacement(fit(cut), 10, 15, longest=100).beyond_seen is True


def test_without_a_fit_there_is_nothing_to_say():
    found = replacement(None, 10, 60)
    assert (found.state, found.interval, found.rate) == (NOT_ENOUGH, None, None)
