"""The planned cycle and the usual one."""

from swarfline.facts import ABORTED, STEPS, ToolUse
from swarfline.measure.motion import NONE, Axis, Motion
from swarfline.measure.planned import PLANNED_STEPS, PlannedStep, measured_cycle, planned_cycle

from .timelines import MINUTE, SECOND, cycle

MOTION = Motion(1.0, 1.5, {"tilt": Axis(50, 360, 0), "rotary": Axis(60, 360, 0)}, NONE)
"""With nothing at once; 90 degrees of tilt take 1 s, and so do 90 of the rotary axis."""


def step(tool, cutting_s, other_s=0, **angles):
    return PlannedStep(tool, cutting_s * SECOND, other_s * SECOND, angles)


def seconds(planned):
    return {name: us if us is None else us / SECOND for name, us in planned.step_us.items()}


def test_two_tools_change_twice_in_a_cycle_and_turn_there_and_back():
    found = planned_cycle([step("1", 30, 2), step("2", 20, tilt=90)], MOTION)
    assert seconds(found) == {"cutting": 50, "tool_change": 2, "positioning": 2, "other": 3}
    assert found.all_us == 57 * SECOND
    assert found.cutting_us == {"1": 30 * SECOND, "2": 20 * SECOND}


def test_a_tool_that_goes_on_is_not_changed():
    found = planned_cycle([step("1", 30, rotary=0), step("1", 20, rotary=90)], MOTION)
    assert seconds(found) == {"cutting": 50, "tool_change": 0, "positioning": 2, "other": 0}
    assert found.cutting_us == {"1": 50 * SECOND}


def test_an_axis_that_is_not_named_stands_at_0():
    named = [step("1", 30, tilt=0), step("2", 20, tilt=90), step("3", 5, tilt=0)]
    silent = [step("1", 30), step("2", 20, tilt=90), step("3", 5)]
    assert planned_cycle(named, MOTION) == planned_cycle(silent, MOTION)


def test_a_tool_named_twice_adds_up():
    found = planned_cycle([step("1", 30), step("2", 20), step("1", 5), step("3", 1)], MOTION)
    assert found.cutting_us == {"1": 35 * SECOND, "2": 20 * SECOND, "3": 1 * SECOND}
    assert seconds(found)["tool_change"] == 4


def test_without_a_motion_only_the_cutting_is_known():
    found = planned_cycle([step("1", 30, 2), step("2", 20, tilt=90)], None)
    assert seconds(found) == {"cutting": 50, "tool_change": None, "positioning": None, "other": None}
    assert found.all_us is None


def test_what_needs_no_motion_is_known_without():
    found = planned_cycle([step("1", 30, 2)], None)
    assert seconds(found) == {"cutting": 30, "tool_change": 0, "positioning": 0, "other": 2}
    assert found.all_us == 32 * SECOND


def test_an_axis_that_the_machine_lacks_leaves_the_moves_unknown():
    found = planned_cycle([step("1", 30), step("2", 20, swivel=90)], MOTION)
    assert seconds(found) == {"cutting": 50, "tool_change": None, "positioning": None, "other": None}


def test_no_steps_are_no_time():
    assert planned_cycle([], None).all_us == 0


def made(number, cutting, tools, **more):
    by_step = {"cutting": cutting * SECOND, "other": 10 * SECOND}
    uses = tuple(ToolUse(t, n, s * SECOND, s * SECOND) for n, (t, s) in enumerate(tools.items(), 1))
    steps = tuple(by_step.get(s, 0) for s in STEPS)
    return cycle(number * MINUTE, sum(steps), step_us=steps, tools=uses, **more)


def test_the_usual_cycle_is_the_median_by_step_and_tool():
    cycles = [made(n, s, {"1": s - 5, "2": 5}) for n, s in enumerate((30, 32, 90))]
    found = measured_cycle([*cycles, made(9, 1, {"1": 1}, outcome=ABORTED)])
    assert (found.count, found.all_us) == (3, 42 * SECOND)
    assert found.step_us == {"cutting": 32 * SECOND, "tool_change": 0, "positioning": 0, "other": 10 * SECOND}
    assert found.cutting_us == {"1": 27 * SECOND, "2": 5 * SECOND}
    assert found.in_spindle_us == {"1": 27 * SECOND, "2": 5 * SECOND}
    assert found.energy_j is None


def test_usual_energy_is_that_of_the_cycles_that_tell_it():
    cycles = [made(n, 30, {"1": 30}, energy_j=joules) for n, joules in enumerate((5.0, None, 9.0, 100.0))]
    assert measured_cycle(cycles).energy_j == 9.0


def test_a_tool_that_most_cycles_do_not_use_usually_cuts_for_nothing():
    cycles = [made(0, 30, {"1": 30}), made(1, 30, {"1": 30}), made(2, 40, {"1": 30, "9": 10})]
    assert measured_cycle(cycles).cutting_us == {"1": 30 * SECOND, "9": 0}


def test_no_cycle_tells_nothing():
    found = measured_cycle([])
    assert (found.count, found.all_us, found.cutting_us) == (0, None, {})
    assert found.step_us == dict.fromkeys(PLANNED_STEPS)
