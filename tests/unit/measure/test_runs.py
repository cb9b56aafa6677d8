"""Run rules: where each one speaks, and what keeps it silent."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.measure.runs import RULES, Signal, run_signals
from swarfline.measure.trend import individuals

values_lists = st.lists(st.integers(-40, 40).map(lambda n: n / 10), min_size=2, max_size=60)


def places(values, rule, centre=0.0, sigma=1.0):
    return [s.place for s in run_signals(values, centre, sigma) if s.rule == rule]


def test_a_run_is_told_at_each_point_that_it_lasts():
    assert places([0.5] * 8, 2) == []
    assert places([0.5] * 11, 2) == [8, 9, 10]
    assert places([-0.5] * 9 + [0.5], 2) == [8]


def test_two_of_three_speaks_at_the_point_that_completes_it_and_not_at_the_one_after():
    assert places([2.5, 2.5, 0.1], 5) == [1]
    assert places([2.5, 0.1, 0.1, 2.5], 5) == []
    assert places([-2.5, 0.1, -2.5, 0.1, -2.5], 5) == [2, 4]


def test_four_of_five():
    assert places([1.5, 1.5, 1.5, 1.5, 0.1, 0.1], 6) == [3]
    assert places([1.5, -1.5, 1.5, 1.5, 1.5], 6) == [4]
    assert places([1.0, 1.5, 1.5, 1.5], 6) == []


def test_a_trend_goes_on():
    assert places([-0.9, -0.6, -0.3, 0.1, 0.4, 0.7, 1.0], 3) == [5, 6]
    assert places([0.7, 0.4, 0.1, -0.3, -0.6, -0.9], 3) == [5]


def test_alternating_ends_with_a_step_the_same_way():
    zigzag = [0.5, -0.5] * 7
    assert places(zigzag, 4) == [13]
    assert places([*zigzag[:13], 0.7], 4) == []
    assert places([*zigzag[:7], zigzag[6], *zigzag[7:]], 4) == []


def test_within_one_sigma_takes_in_the_edge_and_without_leaves_it():
    assert places([1.0, -1.0, 0.2] * 5, 7) == [14]
    assert places([1.0, -1.0] * 4, 8) == []
    assert places([1.1, -1.1] * 4, 8) == [7]
    assert places([1.1] * 8, 8) == [], "one side alone is a shift and not a mixture"


def test_without_spread_nothing_is_told():
    assert run_signals([5.0] * 40, 5.0, 0.0) == ()


@given(values_lists)
def test_the_first_rule_is_the_chart_itself(values):
    chart = individuals(values)
    if chart.sigma:
        told = [s.place for s in run_signals(values, chart.centre, chart.sigma) if s.rule == 1]
        assert tuple(told) == chart.beyond


@given(values_lists)
def test_mirrored_values_signal_at_the_same_places(values):
    assert run_signals(values, 0.0, 1.0) == run_signals([-v for v in values], 0.0, 1.0)


@given(values_lists, st.integers(1, 30))
def test_what_comes_later_changes_nothing(values, cut):
    whole = run_signals(values, 0.0, 1.0)
    assert tuple(s for s in whole if s.place < cut) == run_signals(values[:cut], 0.0, 1.0)


def test_signals_come_in_order_of_place_then_rule():
    found = run_signals([3.5] * 9, 0.0, 1.0)
    assert list(found) == sorted(found, key=lambda s: (s.place, s.rule))
    assert found[0] == Signal(1, 0)


@pytest.mark.parametrize("number", range(1, 9))
def test_every_rule_says_what_it_means(number):
    assert len(RULES[number]) > 20


def test_the_docs_say_the_same_rules():
    text = (Path(__file__).parents[3] / "docs" / "figures.md").read_text(encoding="utf-8")
    assert {int(n): says for n, says in re.findall(r"^\| ([1-8]) \| (.+) \|$", text, re.MULTILINE)} == RULES
