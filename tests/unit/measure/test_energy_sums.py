"""Energy sums: edges, coverage, demand."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import Energy
from swarfline.measure.energy import (
    QUARTER_US,
    EnergySums,
    demand,
    energy_figures,
    energy_summary,
    peak,
)


def piece(start, end, joules, condition="producing"):
    return Energy("N1", start, end, condition, joules, "power")


PIECES = [piece(0, 100, 50.0), piece(100, 200, 10.0, "waiting"), piece(300, 400, 30.0)]


def test_energy_by_condition_with_edges_cut_in_proportion():
    found = energy_summary(PIECES, (50, 350), 4)
    assert found.by_condition_j == {"producing": 25 + 15, "waiting": 10}
    assert found.total_j == 50
    assert found.coverage == Fraction(200, 300)


def test_figures_in_kwh():
    sums = energy_summary([piece(0, 10, 7.2e6)], (0, 10), 4)
    found = energy_figures(sums)
    assert found["energy"].value == pytest.approx(2)
    assert found["energy_per_good_part"].value == pytest.approx(0.5)
    assert found["energy"].coverage == 1


def test_nothing_measured_is_unknown_not_zero():
    found = energy_figures(energy_summary([], (0, 10), 4))
    assert found["energy"].value is None
    assert found["energy_per_good_part"].value is None
    assert found["energy"].coverage == 0


def test_no_good_parts_leave_no_energy_per_part():
    for good in (0, None):
        assert energy_figures(energy_summary(PIECES, (0, 400), good))["energy_per_good_part"].value is None


def test_machines_add_up():
    both = energy_summary(PIECES, (0, 400), 4) + energy_summary([], (0, 400), 2)
    assert (both.total_j, both.good, both.coverage) == (90, 6, Fraction(300, 800))
    assert (both + EnergySums(good=None)).good is None


def test_demand_is_energy_by_quarter_hour_and_says_what_it_covers():
    half = QUARTER_US // 2
    pieces = [piece(0, QUARTER_US, 900.0), piece(QUARTER_US, QUARTER_US + half, 900.0)]
    series = demand(pieces, (0, 3 * QUARTER_US))
    assert [d.mean_w for d in series] == [1.0, 1.0, None]
    assert [d.coverage for d in series] == [1, Fraction(1, 2), 0]
    assert peak(series) == series[0]
    assert peak(series[2:]) is None


def test_only_quarters_that_begin_in_the_span_are_told():
    series = demand([piece(0, 4 * QUARTER_US, 3600.0)], (1, 2 * QUARTER_US + 1))
    assert [d.start_us for d in series] == [QUARTER_US, 2 * QUARTER_US]
    assert series[0].mean_w == pytest.approx(1.0)


def test_demand_of_a_cell_is_that_of_its_machines_together():
    pieces = [piece(0, QUARTER_US, 900.0), Energy("N2", 0, QUARTER_US, "off", 450.0, "counter")]
    (found,) = demand(pieces, (0, QUARTER_US), machines=2)
    assert (found.mean_w, found.coverage) == (1.5, 1)


@given(
    st.lists(st.tuples(st.integers(1, 3 * QUARTER_US), st.floats(0, 1e6)), max_size=6),
    st.integers(0, 8 * QUARTER_US),
)
def test_splitting_a_span_and_adding_is_the_whole(lengths, cut):
    pieces, at = [], 0
    for length, joules in lengths:
        pieces.append(piece(at, at + length, joules))
        at += length
    whole = energy_summary(pieces, (0, 8 * QUARTER_US), 3)
    both = energy_summary(pieces, (0, cut), 1) + energy_summary(pieces, (cut, 8 * QUARTER_US), 2)
    assert (both.covered_us, both.span_us, both.good) == (whole.covered_us, whole.span_us, whole.good)
    assert both.total_j == pytest.approx(whole.total_j)
    series = demand(pieces, (0, 20 * QUARTER_US))
    assert sum((d.mean_w or 0.0) * 900 for d in series) == pytest.approx(sum(p.energy_j for p in pieces))
