"""What facts rest on, by the signals that a machine offers."""

from __future__ import annotations

import pytest

from swarfline import grounds
from swarfline.facts import STEPS
from swarfline.signals import SIGNALS

ALL_STEPS = {"tool_changing", "positioning", "active_tool", "spindle_speed", "spindle_load"}


def test_bounds_are_signals():
    assert set(grounds.BOUNDS) <= set(SIGNALS)


CUTS = [
    ({"state", "part_count", "cycle_count", "program_state"}, None, "program_state", "the best of those mapped: "),
    (
        {"state", "part_count", "cycle_count"},
        None,
        "cycle_count",
        "the best of those mapped: cycle_count, part_count",
    ),
    ({"state", "part_count"}, None, "part_count", "the only one mapped"),
    ({"executing"}, None, "executing", "the only one mapped"),
    ({"state"}, None, "executing", "no other signal is mapped"),
    ({"state", "part_count", "program_state"}, "part_count", "part_count", "the plant file says so"),
]


@pytest.mark.parametrize(("signals", "chosen", "bounds", "why"), CUTS)
def test_what_cuts_cycles_and_why(signals, chosen, bounds, why):
    assert grounds.cycle_bounds(signals, chosen) == bounds
    assert grounds.why_bounds(signals, chosen).startswith(why)


KNOWN = [
    (set(), "not", "held other"),
    ({"active_tool"}, "tool", "held other"),
    ({"spindle_speed"}, "speed", "held other cutting"),
    ({"active_tool", "spindle_speed"}, "speed", "held other tool_change cutting"),
    ({"active_tool", "spindle_load"}, "load", "held other cutting"),
    ({"active_tool", "spindle_speed", "spindle_load"}, "load", "held other tool_change cutting"),
    ({"tool_changing", "spindle_load"}, "load", "held other tool_change cutting"),
    ({"tool_changing", "positioning"}, "not", "held other tool_change positioning"),
    ({"tool_changing", "positioning", "spindle_load"}, "exact", "held other tool_change positioning cutting"),
]


@pytest.mark.parametrize(("signals", "how", "steps"), KNOWN)
def test_how_well_steps_are_known(signals, how, steps):
    assert grounds.step_grounds(signals) == how
    assert grounds.steps_known(signals) == steps.split()


def test_with_everything_every_step_is_known():
    assert set(grounds.steps_known(ALL_STEPS)) == set(STEPS)
    assert {how for _, how, _ in KNOWN} == set(grounds.STEP_GROUNDS)
