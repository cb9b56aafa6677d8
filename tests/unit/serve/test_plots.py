"""Shapes of distributions, runs and differences. Expected values are reckoned by hand unless a source is named."""

from __future__ import annotations

import random
import re

import pytest

from swarfline.serve.page import plots


def points(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([\d.e+-]+) ([\d.e+-]+)", path)]


def test_every_value_is_in_one_bin_or_counted_outside():
    chance = random.Random(5)
    values = [*(chance.gauss(180, 2) for _ in range(500)), 900.0, 12.0]
    found = plots.histogram(values, plots.frame([values]))
    assert sum(found.counts) + found.below + found.above == len(values)
    assert (found.below, found.above) == (1, 1)
    assert 8 <= found.frame.number <= plots.MOST_BINS


def test_the_width_is_the_rule_made_round():
    """0 to 999: IQR 499.5, 2 · 499.5 ÷ ∛1000 = 99.9 (Freedman and Diaconis 1981), so 100."""
    bins = plots.frame([[float(n) for n in range(1000)]])
    assert (bins.low, bins.width, bins.number) == (0.0, 100.0, 10)
    assert plots.histogram([float(n) for n in range(1000)], bins).counts == (100,) * 10
    assert plots.decimals(bins) == 0
    assert plots.decimals(plots.Frame(0, 0.05, 3)) == 2


def test_two_levels_are_both_in_sight():
    first, second = [188.4 + n % 5 / 10 for n in range(500)], [194.2 + n % 5 / 10 for n in range(2000)]
    bins = plots.frame([first, second])
    for values in (first, second):
        found = plots.histogram(values, bins)
        assert (found.below, found.above) == (0, 0)
    whole = plots.histogram([*first, *second], plots.frame([[*first, *second]]))
    assert whole.below + whole.above == 0


def test_equal_values_have_a_frame_too():
    bins = plots.frame([[170.0] * 9])
    assert bins.low <= 170 < bins.high
    assert plots.histogram([170.0] * 9, bins).counts == (9,)
    assert plots.frame([[], []]) is None


def test_a_mark_is_kept_in_sight_where_it_is_near():
    values = [100.0 + n / 10 for n in range(100)]
    assert plots.frame([values], (98.0, None)).low <= 98
    assert plots.frame([values], (50.0,)).low > 99
    assert plots.near(values, 95.0) == 95.0
    assert plots.near(values, 85.0) is None and plots.near(values, 85.0, 3) == 85.0
    assert plots.near(values, 50.0) is None and plots.near(values, None) is None and plots.near([], 1.0) is None


def test_a_higher_value_stands_higher():
    found = plots.run([0.0, 1.0], [10.0, 20.0], (30.0, None))
    (first, second) = points(found.line)
    assert (first[0], second[0]) == (0, 1000)
    assert 0 < second[1] < first[1] < plots.TALL
    assert found.level(30.0) and found.level(31.0) == "" and found.level(None) == ""
    assert plots.run([], []) is None
    assert plots.run([0.5], [7.0]).low < 7 < plots.run([0.5], [7.0]).high


def test_bars_of_differences_share_one_scale():
    longer, shorter, unknown = plots.beams([(2.0, 1.0, 4.0), (-1.0, None, None), (None, None, None)])
    assert longer.bar == "M500 4H748V20H500Z"  # 500 + 496 · 2 ÷ 4
    assert shorter.bar == "M500 4H376V20H500Z"
    assert longer.interval.startswith("M624 12H996")
    assert (shorter.interval, unknown.bar, unknown.interval) == ("", "", "")
    assert plots.beams([(0.0, 0.0, 0.0)])[0].bar == "M500 4H500V20H500Z"


@pytest.mark.parametrize("values", [[1e-9, 2e-9], [0.0, 0.0], [1e12, 1e12 + 1], [-5.0, 5.0]])
def test_odd_values_have_finite_frames(values):
    bins = plots.frame([values])
    assert sum(plots.histogram(values, bins).counts) == len(values)
