"""Energy by power held and by counter spread, per condition, quarter hour and cycle."""

import pytest

from swarfline.facts import Cycle, Energy
from swarfline.interpret.energy import MARKS

from .told import Told

# W held from each second on; 3.05 kWh in all: reference checks N-3 (arithmetic)
LOADS = (
    "0 state=executing power=1000\n300 power=4000\n840 power=2000\n1500 power=6000\n2400 power=1500\n3600 power=0"
)


def test_power_is_held_until_the_next_reading_and_cut_at_quarter_hours():
    told = Told(LOADS)
    assert told.energies == [
        (0, 900, "producing", 2_580_000),
        (900, 1800, "producing", 3_000_000),
        (1800, 2700, "producing", 4_050_000),
        (2700, 3600, "producing", 1_350_000),
    ]
    assert sum(row[3] for row in told.energies) == pytest.approx(3.05 * 3.6e6)
    assert {f.basis for f in told.of(Energy)} == {"power"}


def test_power_is_cut_where_the_condition_changes():
    told = Told("0 state=executing power=1000\n10 state=not_executing\n30 power=500\n40 alive")
    assert told.energies == [(0, 10, "producing", 10_000), (10, 40, "waiting", 25_000)]
    assert [f.open for f in told.of(Energy)] == [False, True]


@pytest.mark.parametrize("unknown", ["bad", "-3", "text", "true"])
def test_unknown_power_is_no_energy_and_not_zero(unknown):
    told = Told(f"0 state=executing power=1000\n10 power={unknown}\n30 power=1000\n40 alive")
    assert told.energies == [(0, 10, "producing", 10_000), (30, 40, "producing", 10_000)]


def test_power_of_zero_is_known():
    assert Told("0 state=not_available power=0\n40 alive").energies == [(0, 40, "off", 0)]


def test_power_is_never_held_across_a_gap():
    told = Told("0 back state=executing power=1000\n10 lost\n50 back state=executing power=1000\n60 alive")
    assert told.energies == [(0, 10, "producing", 10_000), (50, 60, "producing", 10_000)]


def test_power_held_long_shows_open_pieces_per_quarter():
    told = Told("0 state=executing power=1000\n2000 alive")
    assert told.energies == [
        (0, 900, "producing", 900_000), (900, 1800, "producing", 900_000), (1800, 2000, "producing", 200_000),
    ]  # fmt: skip
    assert [f.open for f in told.of(Energy)] == [True] * 3


RUN = "0 state=executing program_state=ready {}\n10 program_state=running\n"


def cycle_joules(told):
    return [f.energy_j for f in told.of(Cycle)]


def test_the_energy_of_a_cycle_by_power():
    told = Told(
        RUN.format("power=100")
        + "20 power=400\n30 program_state=ended program_state=running\n50 program_state=ended"
    )
    assert cycle_joules(told) == [pytest.approx(1000 + 4000), pytest.approx(8000)]


def test_a_cycle_whose_power_is_not_known_throughout_has_no_energy():
    late = Told(RUN.format("") + "12 power=400\n30 program_state=ended")
    hole = Told(RUN.format("power=100") + "12 power=bad\n13 power=100\n30 program_state=ended")
    never = Told(RUN.format("") + "30 program_state=ended")
    assert cycle_joules(late) == cycle_joules(hole) == cycle_joules(never) == [None]


def test_a_cycle_cut_by_a_gap_has_the_energy_up_to_it():
    told = Told(RUN.format("power=100") + "20 lost\n50 back state=executing program_state=ended@40 power=100")
    assert cycle_joules(told) == [pytest.approx(1000)]


def test_a_cycle_that_went_on_through_a_gap_has_no_energy_by_power():
    told = Told(
        RUN.format("power=100")
        + "20 lost\n50 back state=executing program_state=running@10 power=100\n60 program_state=ended"
    )
    assert told.cycles == [(10, 60, "complete")]
    assert cycle_joules(told) == [None]


def test_a_counter_is_spread_evenly_over_the_conditions_since_its_last_reading():
    told = Told(
        "0 state=executing energy=500\n30 state=not_executing\n"
        "40 energy=501\n50 energy=501\n60 energy=502 state=executing"
    )
    assert told.energies == [(0, 30, "producing", 2700), (30, 60, "waiting", 4500)]
    assert {f.basis for f in told.of(Energy)} == {"counter"}


def test_a_counter_is_preferred_to_power():
    told = Told("0 state=executing energy=500 power=9\n40 energy=501 power=9000\n50 power=1")
    assert told.energies == [(0, 40, "producing", 3600)]


def test_a_counter_is_cut_at_quarter_hours():
    told = Told("600 state=executing energy=0\n1200 energy=2")
    assert told.energies == [(600, 900, "producing", 3600), (900, 1200, "producing", 3600)]


def test_counter_steps_with_a_reset():
    # reference checks N-5: increments 0.4 0.7 0.2 0.7 kWh = 2.0 (common practice, no source)
    told = Told(
        "0 state=executing energy=1000000\n10 energy=1000400\n20 energy=1001100\n30 energy=200\n40 energy=900"
    )
    assert sum(row[3] for row in told.energies) == pytest.approx(2.0 * 3.6e6)


@pytest.mark.parametrize("unknown", ["bad", "-1", "text"])
def test_a_counter_reading_that_is_none_moves_nothing(unknown):
    told = Told(f"0 state=executing energy=500\n30 energy={unknown}\n40 energy=504\n50 alive")
    assert told.energies == [(0, 40, "producing", 4 * 3600)]


def test_a_counter_tells_what_a_gap_took_in_one_unobserved_piece():
    told = Told(
        "0 back state=executing energy=10\n400 lost\n1600 back state=not_executing energy=30\n2000 energy=35"
    )
    assert told.energies == [
        (0, 400, "producing", 18_000), (400, 1600, "unobserved", 54_000), (1600, 1800, "waiting", 9_000),
        (1800, 2000, "waiting", 9_000),
    ]  # fmt: skip


def test_the_energy_of_a_cycle_by_counter_is_told_after_its_end():
    told = Told(RUN.format("energy=0") + "30 program_state=ended\n40 energy=4\n50 alive")
    assert cycle_joules(told) == [pytest.approx(4 * 3600 * 20 / 40)]
    assert [c.energy_j is None for c in told.stream if c.kind == "cycle"] == [True, False]


def test_a_slow_counter_pays_every_cycle_since_its_last_reading():
    loops = "\n".join(f"{20 + 10 * n} program_state=ended program_state=running" for n in range(5))
    told = Told(RUN.format("energy=0") + f"{loops}\n70 program_state=ended\n80 energy=8")
    assert cycle_joules(told) == [pytest.approx(3600)] * 6


def test_a_cycle_that_began_before_the_first_counter_reading_has_no_energy():
    told = Told(
        RUN.format("")
        + "15 energy=1\n30 program_state=ended energy=3\n40 program_state=running\n50 program_state=ended energy=4"
    )
    assert cycle_joules(told) == [None, pytest.approx(1800)]


def test_a_cycle_that_went_on_through_a_gap_has_its_energy_by_counter():
    story = "20 lost\n50 back state=executing program_state=running@10 energy=5\n60 program_state=ended energy=6"
    told = Told(RUN.format("energy=0") + story)
    assert told.cycles == [(10, 60, "complete")]
    assert cycle_joules(told) == [pytest.approx(5 * 3600 * 40 / 50 + 3600)]


def test_a_counter_silent_for_ever_costs_bounded_memory():
    turns = "\n".join(f"{n} feed_hold={'true' if n % 2 else 'false'}" for n in range(1, 3 * MARKS))
    told = Told(f"0 state=executing energy=0\n{turns}\n{3 * MARKS} energy={3 * MARKS}")
    assert sum(row[3] for row in told.energies) == pytest.approx(3 * MARKS * 3600)
    assert len(told.of(Energy)) <= MARKS + 10


def test_a_counter_told_unchanged_says_that_nothing_was_used():
    told = Told("0 state=executing energy=1\n10 state=not_executing energy=1\n20 energy=2")
    assert told.energies == [(0, 10, "producing", 0), (10, 20, "waiting", 3600)]


def test_a_counter_told_twice_at_one_moment_is_spread_once():
    told = Told("0 back state=executing energy=1\n10 energy=2\n10 back state=executing energy=3\n20 energy=4")
    assert told.energies == [(0, 20, "producing", 3 * 3600)]


def test_a_running_cycle_has_no_energy_before_the_counter_told_some():
    told = Told(RUN.format("energy=4") + "20 alive")
    assert cycle_joules(told) == [None]
    told = Told(RUN.format("energy=4") + "20 energy=5\n30 alive")
    assert cycle_joules(told) == [pytest.approx(1800)]
