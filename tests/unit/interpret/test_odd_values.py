"""What no sound machine says: absurd numbers, contradictions, disorder.

No fact may carry what no database takes.
"""

import math
from itertools import pairwise

import pytest

from swarfline.facts import Condition, Cycle, Energy
from swarfline.signals import CLOCK_OFFSET, Quality, Reading

from .odd import assert_storable
from .told import SECOND_US, Told, at_us

HUGE = 1e308
GOING = "state=executing program_state={}"


def said(at, signal, value, quality=Quality.GOOD, received=None):
    return Reading("N1", signal, at_us(at), at_us(at if received is None else received), value, quality)


def short(value):
    return f"{value}"[:6]


ABSURD = [math.nan, math.inf, -math.inf, HUGE, -HUGE, 1e12, 10**400, -1, True, "many"]


@pytest.mark.parametrize("absurd", ABSURD, ids=short)
def test_power_that_no_machine_draws_is_not_known(absurd):
    told = Told([
        said(0, "state", "executing"), said(0, "power", 100.0), said(5, "power", absurd), said(9, "power", 50),
        said(12, "x", 0),
    ])  # fmt: skip
    assert told.energies == [(0, 5, "producing", 500), (9, 12, "producing", 150)]


@pytest.mark.parametrize("absurd", ABSURD, ids=short)
def test_an_energy_counter_that_leaps_as_no_machine_can_begins_anew_there(absurd):
    told = Told([
        said(0, "state", "executing"), said(0, "energy", 500), said(10, "energy", absurd), said(20, "energy", 501),
        said(30, "energy", 502),
    ])  # fmt: skip
    assert_storable(told.facts.values())
    joules = sum(piece.energy_j for piece in told.of(Energy))
    assert joules == (3600 * 2 if absurd != 1e12 else 3600 * (501 + 1))


def test_energy_whose_amount_is_not_known_makes_a_cycle_without_energy():
    story = f"0 {GOING.format('ready')} energy=1\n10 program_state=running\n20 energy=1e13\n30 program_state=ended"
    told = Told(story + "\n40 energy=1e13")
    assert told.cycle.energy_j is None
    assert told.energies == [(20, 40, "producing", 0)]


@pytest.mark.parametrize("absurd", ABSURD, ids=short)
@pytest.mark.parametrize("signal", ["part_count", "good_count", "cycle_count"])
def test_a_counter_takes_no_absurd_step(signal, absurd):
    told = Told([
        said(0, "state", "executing"), said(0, signal, 5), said(10, signal, absurd), said(20, signal, 6),
        said(30, signal, 7),
    ])  # fmt: skip
    assert_storable(told.facts.values())
    steps = [count[2] for count in told.counts if count[1] == "total"]
    assert steps == ([1, 1] if absurd != 1e12 else [6, 1])


def test_a_counter_of_fractions_counts_whole_parts():
    told = Told("0 part_count=1.0\n10 part_count=1.5\n20 part_count=2.0\n30 part_count=3.9\n40 part_count=4")
    assert told.counts == [(20, "total", 1), (30, "total", 1), (40, "total", 1)]


@pytest.mark.parametrize("absurd", ABSURD[:7], ids=short)
@pytest.mark.parametrize("field", ["used", "limit", "remaining", "warning_level"])
def test_a_tool_keeps_its_life_over_an_absurd_value(field, absurd):
    before = [("number", 12), ("used", 40), ("limit", 100), ("warning_level", 80)]
    before = [("remaining", 60) if field == "remaining" and name == "used" else (name, v) for name, v in before]
    sound = dict(before)[field]
    told = Told([
        *(said(0, f"tools[3].{name}", value) for name, value in before), said(10, f"tools[3].{field}", absurd),
        said(20, f"tools[3].{field}", sound), said(30, "x", 0),
    ])  # fmt: skip
    assert_storable(told.facts.values())
    assert [(life[2:]) for life in told.lives] == [("12", 40, "open")]
    assert told.limit_changes == []


@pytest.mark.parametrize("absurd", ABSURD[:7], ids=short)
def test_an_absurd_load_or_speed_is_no_cutting(absurd):
    for signal in ("spindle_load", "spindle_speed"):
        told = Told([
            said(0, "state", "executing"), said(0, "program_state", "ready"), said(0, "active_tool", 4),
            said(0, "spindle_speed", 5000), said(0, "spindle_load", 40), said(10, "program_state", "running"),
            said(20, signal, absurd), said(30, "program_state", "ended"),
        ])  # fmt: skip
        assert_storable(told.facts.values())
        assert told.cycle.step_us[0] == 10 * SECOND_US
        assert told.cycle.tools[0].load_peak == 40


def test_the_present_picture_shows_no_number_that_is_none():
    told = Told(
        [said(0, "state", "executing"), said(0, "power", math.nan), said(0, "feed_rate", math.inf)], end=False
    )
    assert told.fold.snapshot("N1")["values"] == {"state": "executing", "power": None, "feed_rate": None}


def test_executing_in_setup_is_setup_and_no_cycle():
    told = Told(
        f"0 {GOING.format('ready')} mode=setup\n10 program_state=running\n20 program_state=ended\n30 alive"
    )
    assert told.conditions == [(0, 30, "setup")]
    assert told.cycles == []


def test_a_program_that_runs_on_a_machine_that_does_not_execute_waits_in_its_cycle():
    told = Told("""
        0   state=executing program_state=ready
        10  program_state=running
        20  state=not_executing
        40  state=executing
        50  program_state=ended
    """)
    assert told.conditions[1] == (20, 40, "waiting")
    assert told.cycles == [(10, 50, "complete")]
    assert told.cycle.held_us == 20 * SECOND_US


def test_a_machine_that_is_off_ends_the_run_that_its_program_state_still_claims():
    told = Told(f"0 {GOING.format('ready')}\n10 program_state=running\n20 state=not_available\n30 alive")
    assert told.cycles == [(10, 20, "aborted")]


def test_a_mode_that_is_not_known_is_not_taken_for_setup():
    told = Told("0 state=executing mode=automatic\n10 mode=bad\n20 mode=setup\n30 alive")
    assert told.conditions == [(0, 20, "producing"), (20, 30, "setup")]


def test_a_machine_with_only_executing():
    told = Told("0 executing=false\n10 executing=true\n20 executing=false\n30 executing=bad\n40 alive")
    assert told.conditions == [
        (0, 10, "waiting"), (10, 20, "producing"), (20, 30, "waiting"), (30, 40, "unobserved"),
    ]  # fmt: skip
    assert told.counts == [(20, "total", 1)]


def test_a_machine_with_only_a_counter_counts_and_its_time_is_not_observed():
    told = Told("0 part_count=1\n10 part_count=3\n20 alive")
    assert told.counts == [(10, "total", 2)]
    assert {row[2] for row in told.conditions} <= {"unobserved"}
    assert told.cycles == []


def test_values_of_another_type_than_the_signals_are_contradictions_and_not_errors():
    odd = [True, False, 0, 7, 2.5, "", "x", None, HUGE]
    readings = [
        said(n * 10 + m, signal, value)
        for n, signal in enumerate(
            ("state", "mode", "program_state", "feed_override", "active_tool", "alarm_code")
        )
        for m, value in enumerate(odd)
    ]
    told = Told(readings)
    tiles = sorted(told.of(Condition), key=lambda f: f.start_us)
    assert all(a.end_us == b.start_us for a, b in pairwise(tiles))
    assert_storable(told.facts.values())


def test_the_same_reading_twice_is_one():
    once = [
        said(0, "state", "executing"),
        said(0, "part_count", 1),
        said(9, "part_count", 2),
        said(9, "state", "off"),
    ]
    assert (
        Told([r for r in once for _ in range(2)] + [said(20, "x", 1)]).facts
        == Told([*once, said(20, "x", 1)]).facts
    )


def test_of_two_values_of_one_instant_the_last_to_arrive_holds():
    told = Told("0 state=executing\n10 state=not_executing state=out_of_service\n20 alive")
    assert told.conditions == [(0, 10, "producing"), (10, 20, "out_of_service")]


def test_a_clock_set_back_and_measured_goes_on_without_a_hole():
    told = Told([
        said(0, "state", "executing"), said(10, "state", "not_executing"),
        said(12, CLOCK_OFFSET, -3600 * SECOND_US), said(-3580, "state", "executing", received=20),
        said(-3570, "x", 1, received=30),
    ])  # fmt: skip
    assert told.late == []
    assert told.conditions == [(0, 10, "producing"), (10, 20, "waiting"), (20, 30, "producing")]


def test_a_clock_set_back_and_not_yet_measured_makes_readings_late_and_no_hole():
    told = Told([
        said(0, "state", "executing"), said(10, "state", "not_executing"),
        said(-3588, "state", "executing", received=12), said(13, CLOCK_OFFSET, -3600 * SECOND_US),
        said(-3580, "state", "executing", received=20), said(-3570, "x", 1, received=30),
    ])  # fmt: skip
    assert told.late == [2]
    assert told.conditions == [(0, 10, "producing"), (10, 20, "waiting"), (20, 30, "producing")]


def test_a_gap_in_a_hold_in_a_cycle():
    told = Told(f"""
        0   back {GOING.format("ready")} feed_hold=false
        10  program_state=running
        15  feed_hold=true
        20  lost
        30  back {GOING.format("running@10")} feed_hold=true@15
        35  feed_hold=false
        40  program_state=ended
    """)
    assert told.conditions == [
        (0, 15, "producing"), (15, 20, "held"), (20, 30, "unobserved"), (30, 35, "held"), (35, 40, "producing"),
    ]  # fmt: skip
    (cycle,) = told.of(Cycle)
    assert (cycle.outcome, cycle.held_us, cycle.duration_us) == ("complete", 10 * SECOND_US, 30 * SECOND_US)
