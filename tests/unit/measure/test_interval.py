"""Prediction intervals for sums of values to come."""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from swarfline.measure.forecast import consumption_spread
from swarfline.measure.interval import EXACT, Spread, spread_of

lists = st.lists(st.floats(0.5, 20.0), min_size=2, max_size=80)


def plain(values):
    """Spread of single values, without their skewness."""
    return replace(spread_of(values, largest_batch=1), skewness=0.0)


def test_fewer_than_two_values_tell_no_spread():
    assert spread_of([]) is spread_of([3.0]) is None
    assert spread_of([3.0, 5.0]).deviation == pytest.approx(2**0.5)


def test_equal_values_leave_no_doubt():
    same = spread_of([0.1] * 30)
    assert (same.deviation, same.margins(1000)) == (0.0, (0.0, 0.0))
    assert same.within(0.3) == same.until(0.3) == (3, 3), "not lost to binary fractions"
    assert same.within(0.35) == (3, 3)
    assert same.until(0.35) == (4, 4)


def test_values_that_take_turns_are_taken_together():
    turns = spread_of([0.0, 4.0] * 25, largest_batch=2)
    assert (turns.mean, turns.batch, turns.batches, turns.deviation) == (2.0, 2, 25, 0.0)
    assert spread_of([0.0, 4.0] * 25, largest_batch=1).deviation > 2


def test_few_values_are_not_put_into_batches_and_the_oldest_rest_is_left_out():
    assert (spread_of([1.0, 2.0] * 9).batch, spread_of([1.0, 2.0] * 10).batch) == (1, 2)
    assert spread_of([900.0, *[1.0] * 50]).mean == 1.0


def test_too_uncertain_a_mean_has_no_most():
    fewest, most = spread_of([0.1, 9.0, 0.2]).within(1000.0)
    assert most is None
    assert fewest < 323


def test_rare_long_values_move_both_ends_up():
    """What is skewed to the right ends low more surely, and high less so, than its deviation alone tells."""
    skewed = spread_of([1.0] * 95 + [30.0] * 5, largest_batch=1)
    low, high = skewed.margins(20)
    straight = replace(skewed, skewness=0.0).margins(20)
    assert skewed.skewness > 3
    assert straight[0] < low < 0 and high > straight[1]


def test_the_largest_may_count_once_more():
    seen, unseen = spread_of([1.0] * 39 + [9.0], largest_batch=1), spread_of([1.0] * 39 + [9.0], None, 1, 1.0)
    assert unseen.mean == seen.mean
    assert unseen.deviation > 1.3 * seen.deviation


@example([1.0, 1.0], 1.9999999999999964)
@given(lists, st.floats(0.1, 2000.0))
def test_the_point_lies_within(values, amount):
    known = spread_of(values)
    # as a quotient that misses a whole number only through binary rounding is taken for it
    point = int(amount / known.mean + EXACT)
    fewest, most = known.within(amount)
    assert fewest <= point + 1e-9 and (most is None or point <= most)
    soonest, latest = known.until(amount)
    assert fewest <= soonest and (latest is None or (most is not None and most <= latest <= most + 1))


@given(lists, st.integers(1, 400))
def test_fewest_and_most_are_where_the_interval_of_the_sum_crosses_the_amount(values, count):
    known = plain(values)
    low, high = known.margins(count)
    assume(known.deviation > 0.01)
    assert known.within(count * known.mean + high + 0.001)[0] >= count
    assert known.within(count * known.mean + high - 0.001)[0] < count
    most = known.within(count * known.mean + low - 0.001)[1]
    assert most is None or most < count


@given(lists, st.integers(1, 300))
def test_more_values_are_less_certain(values, count):
    known = plain(values)
    (low, high), (lower, higher) = known.margins(count), known.margins(count + 1)
    assert lower <= low <= 0 <= high <= higher


def test_one_wild_consumption_does_not_widen_it():
    calm = [Random(n).gauss(8.4, 0.2) for n in range(40)]
    wild = consumption_spread([*calm, 900.0])
    assert wild.deviation < 1.5 * consumption_spread(calm).deviation
    assert spread_of([*calm, 900.0]).deviation > 100


def test_cycles_that_do_not_use_the_tool_are_part_of_the_spread():
    assert consumption_spread([3.0] * 20).deviation == 0
    some = consumption_spread([0.0, 0.0, 3.0, 3.0, 0.0, 3.0, 0.0, 0.0, 3.0, 0.0] * 2)
    assert some.deviation > 1
    assert some.mean == pytest.approx(3.0 * 0.4)
    assert consumption_spread([3.0]) is consumption_spread([]) is None


def test_without_doubt_about_it_nothing_lasts_for_ever():
    assert Spread(1e-15, 0.0, 0.0, 1, 9).within(1e6)[1] is None
