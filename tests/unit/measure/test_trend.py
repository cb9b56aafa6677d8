"""Cycle trend: which cycles enter, what few of them tell, and what is beyond."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ABORTED, PARTIAL
from swarfline.measure.trend import (
    autocorrelation,
    by_program,
    cycle_trend,
    deviation,
    ewma,
    ewma_limits,
    individuals,
    mean,
    quantile,
    steady_limits,
)

from .timelines import SECOND, cycle

times = st.lists(st.floats(1, 1e4, allow_nan=False), min_size=1, max_size=40)


def test_only_complete_cycles_without_holds_enter():
    cycles = [
        cycle(0, 40 * SECOND),
        cycle(50 * SECOND, 60 * SECOND, held=10 * SECOND),
        cycle(120 * SECOND, 10 * SECOND, outcome=ABORTED),
        cycle(140 * SECOND, 10 * SECOND, outcome=PARTIAL),
        cycle(160 * SECOND, 42 * SECOND),
        cycle(210 * SECOND, 5 * SECOND, open=True),
    ]
    found = cycle_trend(reversed(cycles))
    assert found.values_s == (40, 42)
    assert found.starts_us == (0, 160 * SECOND)
    assert (found.count, found.left_out) == (2, 4)
    assert (found.mean_s, found.median_s, found.minimum_s) == (41, 41, 40)
    assert found.p10_s == pytest.approx(40.2)
    assert found.p90_s == pytest.approx(41.8)


def test_no_cycle_tells_nothing():
    found = cycle_trend([])
    assert (found.count, found.mean_s, found.median_s, found.p10_s, found.minimum_s) == (0, None, None, None, None)
    assert (found.chart.limits, found.deviation_s, found.smoothed_s) == (None, None, ())


def test_one_cycle_has_a_level_but_no_limits():
    found = cycle_trend([cycle(0, 40 * SECOND)])
    assert (found.mean_s, found.median_s, found.p90_s, found.minimum_s) == (40, 40, 40, 40)
    assert found.chart.limits is found.chart.range_limit is found.chart.sigma is found.deviation_s is None
    assert found.smoothed_s == found.chart.beyond == ()


def test_one_slow_cycle_is_beyond_and_so_are_its_steps():
    values = [40, 41, 40, 41, 40, 41, 40, 41, 80, 40, 41, 40, 41, 40, 41, 40, 41, 40]
    found = cycle_trend([cycle(i * 100 * SECOND, v * SECOND) for i, v in enumerate(values)])
    assert found.chart.beyond == (8,)
    assert found.chart.ranges_beyond == (8, 9)


def test_a_lasting_rise_is_seen_by_the_smoothed_series_though_no_single_cycle_is_beyond():
    values = [41.0, 42.0, 43.0, 42.0] * 8 + [42.9, 43.9, 44.9, 43.9] * 8
    found = cycle_trend([cycle(i * 100 * SECOND, round(v * SECOND)) for i, v in enumerate(values)])
    assert found.chart.beyond == ()
    assert found.smoothed_beyond
    last = len(values) - 1
    assert last in found.smoothed_beyond
    assert len(found.smoothed_limits_s) == found.count


def test_a_trend_tells_the_runs_of_its_chart_and_its_tie():
    values = [40.0, 42.0] * 20 + [43.0, 45.0] * 20
    found = cycle_trend([cycle(i * 100 * SECOND, round(v * SECOND)) for i, v in enumerate(values)])
    assert {s.rule for s in found.signals} >= {2, 4}
    assert found.autocorrelation == autocorrelation(values)
    assert cycle_trend([]).signals == ()
    assert cycle_trend([]).autocorrelation is None


@pytest.mark.parametrize("values", [[], [1.0, 2.0], [5.0] * 9])
def test_too_few_or_equal_values_have_no_tie(values):
    assert autocorrelation(values) is None


def test_beyond_is_strict():
    chart = individuals([5.0] * 10)
    assert chart.limits == (5.0, 5.0)
    assert chart.beyond == chart.ranges_beyond == ()


@given(st.floats(0.001, 1e6), st.integers(2, 60))
def test_equal_times_are_never_beyond(value, count):
    found = cycle_trend([cycle(i * 10**13, round(value * SECOND) or 1) for i in range(count)])
    assert found.chart.beyond == found.chart.ranges_beyond == found.smoothed_beyond == ()
    assert found.deviation_s == 0


@given(times, st.floats(0, 1))
def test_a_quantile_lies_between_the_extremes_and_grows_with_p(values, p):
    ordered = sorted(values)
    assert ordered[0] <= quantile(ordered, p / 2) <= quantile(ordered, p) <= ordered[-1] * (1 + 1e-12)


@pytest.mark.parametrize(("values", "p"), [([], 0.5), ([1.0], -0.1), ([1.0], 1.1)])
def test_no_quantile_of_nothing_or_outside(values, p):
    with pytest.raises(ValueError, match="no quantile"):
        quantile(values, p)


def test_no_mean_of_nothing_and_no_weight_outside():
    with pytest.raises(ValueError, match="no values"):
        mean([])
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0], 0.0)
    assert deviation([1.0]) is None


@given(times)
def test_a_weight_of_one_smooths_nothing(values):
    assert ewma(values, 1.0, 7.0) == pytest.approx(values)


def test_limits_widen_to_the_steady_ones():
    limits = ewma_limits(200, 50, 2)
    widths = [high - low for low, high in limits]
    assert widths == sorted(widths)
    assert limits[-1] == pytest.approx(steady_limits(50, 2))


def test_a_cycle_partly_out_of_sight_is_not_steady():
    trend = cycle_trend([cycle(0, 9), cycle(10, 9, unobserved_us=3), cycle(20, 9)])
    assert (trend.count, trend.left_out) == (2, 1)


def test_trends_are_apart_by_machine_program_and_part():
    cycles = [cycle(0, 9), cycle(10, 9, program="P2"), cycle(20, 9, part="VC-30"), cycle(30, 9)]
    groups = by_program(cycles)
    assert [len(g) for g in groups.values()] == [2, 1, 1]
    assert ("N1", "P1", "VC-30") in groups
