"""Level steps and planned cycles of simulated machines, whose truth is known, by the real interpretation."""

from dataclasses import replace
from pathlib import Path

import pytest

from swarfline.facts import Cycle
from swarfline.interpret.fold import Fold
from swarfline.interpret.settings import MachineSettings
from swarfline.measure.attribution import level_steps
from swarfline.measure.planned import measured_cycle
from swarfline.measure.trend import by_program
from swarfline.plant import load
from swarfline.serve.planned import planned_on
from swarfline.signals import LINK, LINK_ALIVE, Reading
from swarfline_sim.machine import Machine
from swarfline_sim.program import plan_program
from swarfline_sim.scenario import plant
from swarfline_sim.spec import LevelChange

from .timelines import HOUR, SECOND

BEGIN = 1_773_000_000 * SECOND
DEMO = Path(__file__).parents[3] / "deploy" / "demo.toml"


def cycles_of(spec, hours):
    """What the service makes of some hours of a simulated machine, by part."""
    end = BEGIN + hours * HOUR
    told = Machine(spec, 4, BEGIN).advance(end).events
    readings = [Reading(m, signal, t, t, value) for t, m, signal, value in told if signal != "warm_up"]
    offered = frozenset(r.signal for r in readings)
    readings.append(Reading(spec.name, LINK, end, end, LINK_ALIVE))
    fold = Fold([MachineSettings(spec.name, offered, max_skew_us=None)])
    facts = [*fold.feed(readings).facts, *fold.flush()]
    cycles = {f.key: f for f in facts if isinstance(f, Cycle)}
    return {part: group for (_, _, part), group in by_program(cycles.values()).items()}


def test_a_feed_turned_down_is_found_with_its_time_its_size_and_its_tool():
    (spec,) = plant(["N2"])
    change = LevelChange(20 * HOUR, 3, 1.18)
    cycles = cycles_of(replace(spec, level_changes=(change,)), 40)["PH-12"]
    (step,) = level_steps(cycles)
    few_cycles = 10 * 60 * SECOND
    assert step.at_us == pytest.approx(BEGIN + change.after_us, abs=few_cycles)
    plan = plan_program(spec.programs["PH-12"], spec.kinematics)
    lost_s = plan.cutting_s(3) * 0.18
    assert float(step.size_us) / SECOND == pytest.approx(lost_s, abs=0.1)
    assert step.low_us / SECOND - 0.1 < lost_s < step.high_us / SECOND + 0.1
    number = next(str(tool.number) for tool in spec.magazine if tool.pot == 3)
    first = step.shares.tools[0]
    assert first.tool == number
    assert float(first.cutting_us) / SECOND == pytest.approx(lost_s, abs=0.1)


def test_a_machine_that_nobody_changed_has_no_level_steps():
    (spec,) = plant(["N1"])
    assert level_steps(cycles_of(spec, 40)["PH-12"]) == []


@pytest.mark.parametrize("machine", ["N1", "S2"])
def test_the_usual_cycle_is_as_planned_step_by_step(machine):
    (spec,) = plant([machine])
    demo = load(DEMO)
    parts = {part.id: part for part in demo.parts}
    for part, cycles in cycles_of(spec, 30).items():
        planned, usual = planned_on(demo.machine(machine), parts[part]), measured_cycle(cycles)
        assert usual.count > 20
        for step, planned_us in planned.step_us.items():
            assert usual.step_us[step] / SECOND == pytest.approx(planned_us / SECOND, abs=0.25), step
        for tool, planned_us in planned.cutting_us.items():
            assert usual.cutting_us[tool] / SECOND == pytest.approx(planned_us / SECOND, abs=0.15), tool
