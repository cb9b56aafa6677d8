"""Production: quantities, planned run times, and what stands in for a plan."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ABORTED, GOOD, SCRAP, TOTAL, Count
from swarfline.measure.production import (
    PartPlan,
    best_demonstrated_us,
    counts_from_cycles,
    production,
    stand_in,
)

from .timelines import END, PLANS, counts, cycle, spans


def count(at, kind, quantity, part="PH-12", gap=False):
    return Count("N1", at, kind, quantity, part, across_gap=gap)


def test_unjudged_parts_count_as_good_and_are_shown():
    made = production([count(1, TOTAL, 10), count(2, GOOD, 6), count(3, SCRAP, 1)], [], PLANS, (0, 10))
    parts = made.by_part["PH-12"]
    assert (parts.total, parts.judged_good, parts.scrap, parts.unjudged, parts.good) == (10, 6, 1, 3, 9)
    assert made.planned_produced_us == Fraction(70, 3)
    assert made.planned_good_us == Fraction(63, 3)
    assert not made.estimate


def test_the_span_is_half_open():
    made = production([count(0, TOTAL, 1), count(10, TOTAL, 2)], [], PLANS, (0, 10))
    assert made.all_parts.total == 1


def test_parts_across_a_gap_are_shown_but_not_timed():
    facts = [count(1, TOTAL, 4), count(2, TOTAL, 3, gap=True), count(2, SCRAP, 1, gap=True)]
    made = production(facts, [], PLANS, (0, 10))
    assert (made.all_parts.total, made.all_parts.gap_total, made.all_parts.good) == (7, 3, 6)
    assert made.planned_produced_us == made.planned_good_us == Fraction(28, 3)


def test_a_part_without_a_plan_takes_its_best_demonstrated_time():
    cycles = [cycle(i * 100, 60 + i, part="MB-05", parts=2) for i in range(3)]
    made = production([count(1, TOTAL, 4, "MB-05")], cycles, PLANS, (0, 10))
    assert made.planned_produced_us == 4 * 30
    assert made.estimate


def test_a_part_without_plan_and_cycles_is_told():
    made = production([count(1, TOTAL, 4, "MB-05"), count(1, TOTAL, 2)], [], PLANS, (0, 10))
    assert made.unplanned == 4
    assert made.by_part["MB-05"].total == 4
    only_scrap = production([count(1, SCRAP, 2, "MB-05")], [], PLANS, (0, 10))
    assert only_scrap.unplanned == 2


def test_cycles_stand_in_for_counters():
    cycles = [
        cycle(0, 50, parts=2, lot="L1"),
        cycle(50, 50, parts=1, outcome=ABORTED),
        cycle(100, 50, parts=0),
        cycle(150, 20, parts=1, open=True),
    ]
    assert counts_from_cycles(cycles) == [Count("N1", 50, TOTAL, 2, "PH-12", "L1")]


def test_best_demonstrated_is_the_minimum_of_few_and_a_percentile_of_many():
    few = [cycle(0, 100 + i) for i in range(19)]
    assert best_demonstrated_us(few) == 100
    assert best_demonstrated_us([*few, cycle(0, 119)]) == pytest.approx(101.9, abs=0.5)
    assert best_demonstrated_us([*few, cycle(0, 10, held=5), cycle(0, 10, outcome=ABORTED)]) == 100
    assert best_demonstrated_us([]) is None


def test_stand_in_says_that_it_is_an_estimate():
    plan = stand_in("PH-12", [cycle(0, 90, parts=3), cycle(0, 99, parts=3), cycle(0, 80, part="VC-30")])
    assert plan == PartPlan("PH-12", 90, 3, estimate=True)
    assert plan.item_us == 30
    assert stand_in("MB-05", [cycle(0, 90)]) is None


@given(counts, spans)
def test_good_scrap_and_unjudged_are_the_total(facts, span):
    for parts in production(facts, [], PLANS, span).by_part.values():
        assert parts.judged_good + parts.scrap + parts.unjudged == parts.total
        assert parts.good + parts.scrap == parts.total


@given(counts, spans, st.integers(0, END))
def test_splitting_a_span_and_adding_is_the_whole(facts, span, at):
    cut = min(max(at, span[0]), span[1])
    first = production(facts, [], PLANS, (span[0], cut))
    second = production(facts, [], PLANS, (cut, span[1]))
    assert first + second == production(facts, [], PLANS, span)
