"""Level steps of a series: where they are found, and what must not move them."""

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarfline.measure.levels import (
    ALPHA,
    LEAST_VALUES,
    Level,
    best_split,
    find_steps,
    mid_ranks,
    step_size,
    tie_inside,
)


def noise(count, seed=0, tie=0.0):
    """Normal values with unit spread and a tie to the value before."""
    source = random.Random(seed)
    values = [source.gauss(0, 1)]
    while len(values) < count:
        values.append(tie * values[-1] + source.gauss(0, 1) * (1 - tie**2) ** 0.5)
    return values


def stairs(levels, seed=0, tie=0.0):
    """Noise on levels given as (count, level)."""
    heights = [level for count, level in levels for _ in range(count)]
    return [h + e for h, e in zip(heights, noise(len(heights), seed, tie), strict=True)]


def places(values, *more):
    return [place for place, _ in find_steps(values, *more)]


@pytest.mark.parametrize("seed", range(12))
def test_noise_has_no_steps(seed):
    assert places(noise(400, seed)) == []


@pytest.mark.parametrize("seed", range(12))
def test_tied_noise_has_no_steps_either(seed):
    assert places(noise(400, seed, 0.6)) == []


def test_without_the_tie_such_noise_would_have_some():
    splits = [best_split(noise(400, seed, 0.6)) for seed in range(12)]
    assert any(s.p_untied <= ALPHA for s in splits)
    assert all(s.p >= s.p_untied for s in splits)


@pytest.mark.parametrize("seed", range(5))
def test_one_step_is_found_within_a_few_values(seed):
    ((place, split),) = find_steps(stairs([(150, 100), (100, 102)], seed))
    assert abs(place - 150) <= 3
    assert split.z > 0 and split.p < 1e-6


def test_a_step_down_has_a_negative_z():
    ((_, split),) = find_steps(stairs([(60, 100), (60, 97)]))
    assert split.z < 0


def test_a_bump_is_two_steps():
    found = places(stairs([(200, 100), (40, 103), (200, 100)]))
    assert found == pytest.approx([200, 240], abs=3)


def test_many_levels():
    found = places(stairs([(80, 100), (60, 103), (90, 99), (70, 104), (50, 101)]))
    assert found == pytest.approx([80, 140, 230, 300], abs=3)


def test_a_step_shows_once_a_level_has_lasted_long_enough():
    values = [100.0 + n % 3 for n in range(200)] + [120.0 + n % 3 for n in range(LEAST_VALUES)]
    assert places(values[: 205 - len(values)]) == []
    assert places(values) == [200]


@pytest.mark.parametrize("seed", range(5))
def test_strays_do_not_move_a_step(seed):
    clean = stairs([(150, 100), (150, 102)], seed)
    rough = [v + 500 if n % 20 == 7 else v for n, v in enumerate(clean)]
    (place,) = places(rough)
    assert abs(place - 150) <= 5


def test_steps_too_small_to_matter_are_left_out_and_their_levels_joined():
    values = stairs([(300, 1000), (300, 1004), (300, 1054)])
    assert places(values) == pytest.approx([300, 600], abs=5)
    assert places(values, 0.01) == pytest.approx([600], abs=5)
    assert places(values, 0.2) == []


@pytest.mark.parametrize("values", [[], [1.0], [5.0] * 500, [float(n % 2) for n in range(400)]])
def test_nothing_to_find(values):
    assert find_steps(values) == []


def test_equal_values_on_both_sides_part_cleanly():
    ((place, split),) = find_steps([40.0] * 30 + [41.0] * 30)
    assert (place, split.tie) == (30, 0.0)


series = st.lists(st.integers(0, 30).map(float), min_size=2, max_size=80)


@settings(deadline=None)
@given(series, st.lists(st.integers(-50, 50), max_size=3), st.integers(1, 20))
def test_scale_and_zero_of_the_values_do_not_matter(values, jumps, scale):
    for jump in jumps:
        values = values + [v + jump for v in values[:40]]
    assert places(values) == places([scale * v + 7 for v in values])


@settings(deadline=None)
@given(series, st.integers(5, 60))
def test_levels_last_and_steps_are_certain(values, jump):
    found = find_steps(values + [v + jump for v in values])
    edges = [0, *(place for place, _ in found), 2 * len(values)]
    assert all(b - a >= LEAST_VALUES for a, b in pairwise(edges)) or not found
    assert all(split.p <= ALPHA for _, split in found)


def test_ranks_of_equal_values_are_shared():
    assert mid_ranks([3.0, 1.0, 3.0, 2.0]) == ([3.5, 1.0, 3.5, 2.0], 6)


def test_the_tie_is_that_inside_the_levels():
    assert tie_inside([1.0, 2.0] * 10 + [101.0, 102.0] * 10, 20) == 0
    assert tie_inside([float(n) for n in range(40)], 20) > 0.5


def test_a_level_leaves_out_a_tenth_at_either_end():
    level = Level.of([*range(1, 19), -1000.0, 1000.0])
    assert (level.mean, level.kept) == (9.5, 16)
    assert Level.of([7.0]) == Level(7.0, 0.0, 1)


def test_a_size_has_an_interval_that_a_tie_widens():
    before, after = noise(60, 1), [v + 3 for v in noise(60, 2)]
    plain, tied = step_size(before, after), step_size(before, after, 0.5)
    assert plain.low < plain.size < plain.high
    assert tied.size == plain.size
    assert (tied.high - tied.low) / (plain.high - plain.low) == pytest.approx(3**0.5)


def test_a_size_of_values_without_spread_is_exact():
    size = step_size([40.0] * 20, [41.5] * 20)
    assert (size.size, size.low, size.high) == (1.5, 1.5, 1.5)
    with pytest.raises(IndexError):
        step_size([], [1.0])
