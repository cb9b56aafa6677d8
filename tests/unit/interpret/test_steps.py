"""Steps of a cycle: what each counts as, per tool, and the strip."""

import pytest

from swarfline.facts import STEPS
from swarfline.interpret.record import STRIP_PIECES
from swarfline.interpret.steps import step_now, steps_known

from .told import SECOND_US, Told

CUT = {"spindle_speed": 8000, "spindle_load": 30}
ROWS = [
    ("producing", {}, "other"),
    ("producing", CUT, "cutting"),
    ("producing", CUT | {"spindle_load": 5}, "other"),
    ("producing", CUT | {"spindle_speed": 0}, "other"),
    ("producing", {"spindle_speed": 8000}, "other"),
    ("producing", CUT | {"spindle_load": None}, "other"),
    ("producing", {"spindle_load": 30}, "cutting"),
    ("producing", {"spindle_load": 5}, "other"),
    ("producing", {"spindle_load": 30, "spindle_speed": None}, "other"),
    ("producing", CUT | {"positioning": True}, "positioning"),
    ("producing", CUT | {"positioning": True, "tool_changing": True}, "tool_change"),
    ("held", CUT | {"tool_changing": True}, "held"),
    ("waiting", {}, "held"),
    ("unobserved", CUT, "other"),
]


@pytest.mark.parametrize(("condition", "values", "step"), ROWS)
def test_each_row(condition, values, step):
    assert step_now(values, condition, 5.0) == step


def test_steps_a_machine_can_tell():
    assert steps_known(frozenset()) == ["held", "other"]
    assert steps_known(frozenset({"active_tool", "spindle_speed"})) == ["held", "other"]
    assert steps_known(frozenset({"active_tool", "spindle_load"})) == ["held", "other", "cutting"]
    everything = frozenset({"tool_changing", "positioning", "spindle_speed", "spindle_load"})
    assert set(steps_known(everything)) == set(STEPS)


STORY = """
    0   state=executing program_state=ready active_tool=0 tool_changing=false
    0   positioning=false spindle_speed=0 spindle_load=0
    10  program_state=running tool_changing=true
    12  positioning=true
    13  tool_changing=false active_tool=4 spindle_speed=9000
    15  positioning=false spindle_load=20
    25  spindle_load=60
    35  feed_hold=true
    40  feed_hold=false
    45  spindle_load=2
    50  tool_changing=true active_tool=7
    52  tool_changing=false spindle_load=50
    62  program_state=ended
"""


def by_step(cycle):
    return {step: us / SECOND_US for step, us in zip(STEPS, cycle.step_us, strict=True)}


def test_the_steps_of_a_cycle_with_overlapping_moves():
    cycle = Told(STORY).cycle
    # the overlap 12..13 is the tool change's, 13..15 is what positioning costs beyond it
    assert by_step(cycle) == {"cutting": 35, "tool_change": 5, "positioning": 2, "other": 5, "held": 5}
    assert sum(cycle.step_us) == cycle.duration_us == 52 * SECOND_US


def test_seconds_and_loads_per_tool():
    first, second = Told(STORY).cycle.tools
    assert (first.tool, first.order, second.tool, second.order) == ("4", 1, "7", 2)
    assert (first.in_spindle_us, first.cutting_us) == (37 * SECOND_US, 25 * SECOND_US)
    assert first.load_mean == pytest.approx((20 * 10 + 60 * 15) / 25)
    assert first.load_peak == 60
    assert (second.in_spindle_us, second.cutting_us, second.load_peak) == (12 * SECOND_US, 10 * SECOND_US, 50)


def test_the_strip():
    pieces = [(p.offset_us / SECOND_US, p.step, p.tool) for p in Told(STORY).cycle.strip]
    assert pieces == [
        (0, "tool_change", ""), (3, "positioning", "4"), (5, "cutting", "4"), (25, "held", "4"),
        (30, "cutting", "4"), (35, "other", "4"), (40, "tool_change", "7"), (42, "cutting", "7"),
    ]  # fmt: skip


def test_without_loads_nothing_is_guessed():
    cycle = Told(
        "0 state=executing program_state=ready active_tool=4\n10 program_state=running\n30 program_state=ended"
    ).cycle
    assert by_step(cycle)["other"] == 20
    (use,) = cycle.tools
    assert (use.cutting_us, use.load_mean, use.load_peak) == (0, None, None)


def test_a_cycle_that_never_ends_does_not_grow_without_end():
    turns = "\n".join(f"{10 + n} positioning={'true' if n % 2 else 'false'}" for n in range(STRIP_PIECES + 500))
    cycle = Told(f"0 state=executing program_state=ready\n5 program_state=running\n{turns}").cycle
    assert STRIP_PIECES - 1 <= len(cycle.strip) <= STRIP_PIECES
    assert cycle.strip[-1].step == "other"
    assert sum(cycle.step_us) == cycle.duration_us


def test_a_step_that_began_as_sight_was_lost_leaves_no_piece_without_length():
    going = "state=executing program_state={} active_tool={}"
    told = Told(f"""
        0   back {going.format("ready", 4)}
        10  program_state=running
        30  active_tool=7 lost
        50  back {going.format("running@10", 7)}
        60  program_state=ended
    """)
    pieces = [(p.offset_us / SECOND_US, p.step, p.tool) for p in told.cycle.strip]
    assert pieces == [(0, "other", "4"), (20, "other", ""), (40, "other", "7")]
    assert [(use.tool, use.in_spindle_us / SECOND_US) for use in told.cycle.tools] == [("4", 20), ("7", 10)]
