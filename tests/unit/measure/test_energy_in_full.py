"""Mean power by condition, base load, energy per cycle, cost and CO2."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import Energy
from swarfline.measure.energy import QUARTER_US, EnergySums, energy_summary
from swarfline.measure.energy_use import (
    CycleEnergy,
    base_load,
    charges,
    mean_power,
    per_cycle,
    total_base_load,
)

SECOND = 1_000_000


def piece(start, end, watts, condition="waiting"):
    return Energy("N1", start, end, condition, watts * (end - start) / SECOND, "power")


def quarters(*watts, condition="waiting"):
    return [piece(i * QUARTER_US, (i + 1) * QUARTER_US, w, condition) for i, w in enumerate(watts)]


def test_mean_power_is_by_the_time_that_is_known():
    pieces = [piece(0, 10 * SECOND, 500.0), piece(20 * SECOND, 30 * SECOND, 700.0)]
    found = energy_summary([*pieces, piece(30 * SECOND, 40 * SECOND, 4000.0, "producing")], (0, 60 * SECOND), 1)
    assert mean_power(found) == {"producing": 4000.0, "waiting": 600.0}
    cut = energy_summary(pieces, (5 * SECOND, 25 * SECOND), 1)
    assert cut.by_condition_us == {"waiting": 10 * SECOND} and mean_power(cut) == {"waiting": 600.0}
    assert mean_power(EnergySums()) == {}


def test_machines_add_up_by_condition():
    one = energy_summary(quarters(600.0), (0, QUARTER_US), 1)
    two = energy_summary(quarters(200.0), (0, QUARTER_US), 1)
    assert mean_power(one + two) == {"waiting": 400.0}, "of one machine while it waits"


def test_base_load_is_the_tenth_percentile_of_quarters_without_production():
    pieces = quarters(*(100.0 * n for n in range(10, 0, -1)))
    found = base_load(pieces, (0, 10 * QUARTER_US))
    assert (found.watts, found.quarters) == (pytest.approx(190.0), 10), "type 7: 100 + 0.9 · 100"


def test_quarters_with_production_or_holes_do_not_count_for_the_base_load():
    busy = [
        piece(0, QUARTER_US - 1, 50.0),
        piece(QUARTER_US - 1, QUARTER_US, 50.0, "producing"),
        piece(QUARTER_US, 2 * QUARTER_US - 1, 60.0),
        piece(2 * QUARTER_US, 3 * QUARTER_US, 900.0),
    ]
    found = base_load(busy, (0, 3 * QUARTER_US))
    assert (found.watts, found.quarters) == (pytest.approx(900.0), 1)
    assert base_load(busy, (1, 3 * QUARTER_US - 1)).quarters == 0, (
        "a quarter lies whole in the span, or is not taken"
    )


def test_without_a_quarter_there_is_no_base_load():
    assert base_load([], (0, QUARTER_US)).watts is None
    known = base_load(quarters(100.0), (0, QUARTER_US))
    assert total_base_load([known, known]).watts == pytest.approx(200.0)
    assert total_base_load([known, base_load([], (0, QUARTER_US))]).watts is None
    assert total_base_load([]).watts is None


def test_energy_per_cycle_is_by_program_and_part():
    cycles = [CycleEnergy("O1", "A", 2, e) for e in (3.6e6, 7.2e6, 36e6)] + [CycleEnergy("O1", "B", 1, None)]
    a, b = per_cycle(cycles)
    assert (a.program, a.part, a.cycles, a.left_out) == ("O1", "A", 3, 0)
    assert a.median_kwh == pytest.approx(2) and a.per_part.value == pytest.approx(13 / 6)
    assert (a.p10_kwh, a.p90_kwh) == (pytest.approx(1.2), pytest.approx(8.4))
    assert (b.cycles, b.left_out, b.median_kwh, b.per_part.value) == (0, 1, None, None)


def test_cost_and_co2():
    assert charges(100.0, 0.21, 0.35) == {"energy_cost": pytest.approx(21.0), "energy_co2": pytest.approx(35.0)}
    assert charges(100.0, None, 0.0) == {"energy_cost": None, "energy_co2": 0.0}
    assert charges(None, 0.21, 0.35) == {"energy_cost": None, "energy_co2": None}


WEEK = 672 * QUARTER_US


@given(
    st.lists(
        st.tuples(st.integers(1, 2 * QUARTER_US), st.floats(0, 1e5), st.sampled_from(["producing", "waiting"])),
        max_size=8,
    ),
    st.integers(0, 8 * QUARTER_US),
)
def test_a_week_later_the_energy_is_the_same(lengths, end):
    pieces, at = [], 0
    for length, watts, condition in lengths:
        pieces.append(piece(at, at + length, watts, condition))
        at += length
    later = [replace(p, start_us=p.start_us + WEEK, end_us=p.end_us + WEEK) for p in pieces]
    spans = (0, end), (WEEK, end + WEEK)
    assert energy_summary(pieces, spans[0], 1) == energy_summary(later, spans[1], 1)
    assert base_load(pieces, spans[0]) == base_load(later, spans[1])
