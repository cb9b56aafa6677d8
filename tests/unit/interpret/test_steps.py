"""Steps of a cycle: what each counts as, per tool, and the strip."""

import pytest

from swarfline.facts import STEPS
from swarfline.interpret.record import STRIP_PIECES
from swarfline.interpret.steps import StepRule

from .told import SECOND_US, Told

CUT = {"spindle_speed": 8000, "spindle_load": 30}
LOAD, SPEED = {"spindle_load"}, {"spindle_speed"}
ROWS = [
    ("producing", LOAD | SPEED, {}, "other"),
    ("producing", LOAD | SPEED, CUT, "cutting"),
    ("producing", LOAD | SPEED, CUT | {"spindle_load": 5}, "other"),
    ("producing", LOAD | SPEED, CUT | {"spindle_speed": 0}, "other"),
    ("producing", LOAD | SPEED, CUT | {"spindle_speed": -8000}, "cutting"),
    ("producing", LOAD | SPEED, CUT | {"spindle_speed": -0.4}, "other"),
    ("producing", LOAD | SPEED, {"spindle_speed": 8000}, "other"),
    ("producing", LOAD | SPEED, CUT | {"spindle_load": None}, "other"),
    ("producing", LOAD | SPEED, {"spindle_load": 30, "spindle_speed": None}, "other"),
    ("producing", LOAD | SPEED, {"spindle_load": 30}, "cutting"),
    ("producing", LOAD, {"spindle_load": 30}, "cutting"),
    ("producing", LOAD, {"spindle_load": 5}, "other"),
    ("producing", LOAD, {"spindle_load": -30}, "other"),
    ("producing", SPEED, {"spindle_speed": 8000}, "cutting"),
    ("producing", SPEED, {"spindle_speed": -8000}, "cutting"),
    ("producing", SPEED, {"spindle_speed": 0}, "other"),
    ("producing", SPEED, {"spindle_speed": 0.99}, "other"),
    ("producing", SPEED, {"spindle_speed": 1}, "cutting"),
    ("producing", SPEED, {"spindle_speed": None}, "other"),
    ("producing", SPEED, {}, "other"),
    ("producing", set(), {"spindle_speed": 8000, "spindle_load": 30}, "other"),
    ("producing", LOAD, CUT | {"positioning": True}, "positioning"),
    ("producing", LOAD, CUT | {"positioning": True, "tool_changing": True}, "tool_change"),
    ("held", LOAD, CUT | {"tool_changing": True}, "held"),
    ("waiting", SPEED, CUT, "held"),
    ("unobserved", LOAD, CUT, "other"),
]


@pytest.mark.parametrize(("condition", "offered", "values", "step"), ROWS)
def test_each_row(condition, offered, values, step):
    assert StepRule.of(offered, 5.0).step(values, condition) == step


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


BY_SPEED = """
    0   state=executing program_state=ready active_tool=4 spindle_speed=0
    10  program_state=running
    14  spindle_speed=9000
    24  spindle_speed=0
    25  active_tool=0
    27  active_tool=7
    29  spindle_speed=6000
    39  spindle_speed=0
    44  spindle_speed=6000
    49  program_state=ended
"""


def pieces_of(cycle):
    return [(piece.offset_us / SECOND_US, piece.step, piece.tool) for piece in cycle.strip]


def test_by_tool_and_speed_alone_the_standstill_in_which_the_tool_changes_is_the_tool_change():
    cycle = Told(BY_SPEED).cycle
    assert by_step(cycle) == {"cutting": 25, "tool_change": 5, "positioning": 0, "other": 9, "held": 0}
    assert pieces_of(cycle) == [
        (0, "other", "4"), (4, "cutting", "4"), (14, "tool_change", "4"), (15, "tool_change", ""),
        (17, "tool_change", "7"), (19, "cutting", "7"), (29, "other", "7"), (34, "cutting", "7"),
    ]  # fmt: skip
    assert [(use.tool, use.in_spindle_us / SECOND_US, use.cutting_us / SECOND_US) for use in cycle.tools] == [
        ("4", 15, 10), ("7", 22, 15),
    ]  # fmt: skip


def test_a_hold_within_a_standstill_is_no_tool_change():
    story = BY_SPEED.replace("25  active_tool=0", "25  feed_hold=true\n    26  feed_hold=false")
    cycle = Told(story).cycle
    assert by_step(cycle) == {"cutting": 25, "tool_change": 3, "positioning": 0, "other": 10, "held": 1}


def test_positioning_told_within_a_standstill_stays_positioning():
    story = BY_SPEED.replace("25  active_tool=0", "25  positioning=true\n    26  positioning=false")
    cycle = Told(story).cycle
    assert by_step(cycle) == {"cutting": 25, "tool_change": 4, "positioning": 1, "other": 9, "held": 0}


def test_a_standstill_that_began_before_it_was_told_is_a_tool_change_from_where_it_was_told():
    cycle = Told("""
        0   state=executing program_state=ready active_tool=4 spindle_speed=bad
        10  program_state=running
        20  spindle_speed=0
        22  active_tool=7
        23  spindle_speed=500
        24  program_state=ended
    """).cycle
    assert pieces_of(cycle) == [
        (0, "other", "4"), (10, "tool_change", "4"), (12, "tool_change", "7"), (13, "cutting", "7"),
    ]  # fmt: skip
    assert by_step(cycle) == {"cutting": 1, "tool_change": 3, "positioning": 0, "other": 10, "held": 0}


def test_where_tool_changes_are_told_a_standstill_is_none():
    cycle = Told(BY_SPEED, offers=("tool_changing",)).cycle
    assert by_step(cycle)["tool_change"] == 0


@pytest.mark.parametrize("place", range(1, 12))
def test_a_tool_change_seen_by_speed_survives_a_restart(place):
    assert Told(BY_SPEED, restart_after=place).cycle == Told(BY_SPEED).cycle


@pytest.mark.parametrize("pieces", [STRIP_PIECES - 4, STRIP_PIECES - 3, STRIP_PIECES - 2, STRIP_PIECES + 500])
def test_a_strip_that_is_full_takes_no_tool_change_in_after_all(pieces):
    turns = "\n".join(f"{10 + n} spindle_speed={6000 if n % 2 else 0}" for n in range(pieces))
    stood = f"{9.5 + pieces} spindle_speed=5000\n{10 + pieces} spindle_speed=0\n"
    stood += f"{20 + pieces} active_tool=7\n{23 + pieces} spindle_speed=9000"
    begin = "0 state=executing program_state=ready active_tool=4 spindle_speed=900\n5 program_state=running"
    cycle = Told(f"{begin}\n{turns}\n{stood}\n{25 + pieces} program_state=ended").cycle
    assert len(cycle.strip) <= STRIP_PIECES
    assert sum(cycle.step_us) == cycle.duration_us
    assert cycle.strip[-1].step == ("other" if len(cycle.strip) == STRIP_PIECES else "cutting")
    assert by_step(cycle)["tool_change"] == 13
