"""A simulated machine, whose truth is known: what the fold makes of its readings is what really happened."""

from math import fsum

import pytest

from swarfline.facts import GOOD, SCRAP, STEPS, TOTAL, Alarm, Condition, Count, Cycle, Energy, ToolLife
from swarfline.interpret.fold import Fold
from swarfline.interpret.settings import MachineSettings
from swarfline.signals import LINK, LINK_ALIVE, Reading
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import plant

from .told import BEGIN_US, SECOND_US

HOURS = 14
END_US = BEGIN_US + HOURS * 3600 * SECOND_US
QUARTER_US = 900 * SECOND_US
NAMES = ("start_us", "end_us", "outcome", "program", "part", "lot", "parts")


@pytest.fixture(scope="module")
def run():
    (spec,) = plant(["N1"])
    machine = Machine(spec, 4, BEGIN_US)
    batch = machine.advance(END_US)
    truth = [*batch.truth, *machine.finish()]
    readings = [Reading(m, signal, t, t, value) for t, m, signal, value in batch.events if signal != "warm_up"]
    offered = frozenset(r.signal for r in readings)
    readings.append(Reading("N1", LINK, END_US, END_US, LINK_ALIVE))
    return readings, offered, truth


def told(readings, offered):
    fold = Fold([MachineSettings("N1", offered, max_skew_us=None)])
    facts = [f for at in range(0, len(readings), 500) for f in fold.feed(readings[at : at + 500]).facts]
    facts += fold.flush()
    return list({(f.kind, *f.key): f for f in (*facts, *fold.open_facts())}.values())


@pytest.fixture(scope="module")
def facts(run):
    return told(run[0], run[1])


def of(facts, kind):
    return sorted((f for f in facts if isinstance(f, kind)), key=lambda f: f.start_us)


def true(run, kind):
    return [r for r in run[2] if r["kind"] == kind]


def test_conditions(run, facts):
    expected = [(r["start_us"], r["condition"]) for r in true(run, "condition")]
    assert [(f.start_us, f.condition) for f in of(facts, Condition)] == expected


def test_cycles(run, facts):
    expected = true(run, "cycle")
    cycles = [f for f in of(facts, Cycle) if not f.open]
    assert len(cycles) == len(expected) > 50
    for fact, record in zip(cycles, expected, strict=True):
        assert [getattr(fact, name) for name in NAMES] == [record[name] for name in NAMES]


def test_steps_and_tools_of_cycles(run, facts):
    for fact, record in zip([f for f in of(facts, Cycle) if not f.open], true(run, "cycle"), strict=True):
        by_step = dict(zip(STEPS, fact.step_us, strict=True))
        for step in ("cutting", "tool_change", "positioning", "held"):
            assert by_step[step] / SECOND_US == pytest.approx(record[f"{step}_s"], abs=1e-6)
        used = {use.tool: use for use in fact.tools}
        for tool in record["tools"]:
            use = used[str(tool["tool"])]
            assert use.in_spindle_us / SECOND_US == pytest.approx(tool["seconds"], abs=1e-6)
            assert use.cutting_us / SECOND_US == pytest.approx(tool["cutting_s"], abs=1e-6)


def test_energy_of_cycles_by_counter(run, facts):
    for fact, record in zip([f for f in of(facts, Cycle) if not f.open], true(run, "cycle"), strict=True):
        assert fact.energy_j == pytest.approx(record["energy_wh"] * 3600)


def test_energy_by_power_is_exact_per_quarter_hour(run):
    by_power = of(told(run[0], run[1] - {"energy"}), Energy)
    quarters = {}
    for piece in by_power:
        quarters.setdefault(piece.start_us // QUARTER_US, []).append(piece.energy_j)
    expected = {r["start_us"] // QUARTER_US: r["wh"] * 3600 for r in true(run, "energy")}
    assert {q: fsum(v) for q, v in quarters.items()} == pytest.approx(expected)


def test_energy_by_power_and_by_counter_agree_in_sum(run, facts):
    (record,) = true(run, "totals")
    by_counter = fsum(p.energy_j for p in of(facts, Energy))
    by_power = fsum(p.energy_j for p in of(told(run[0], run[1] - {"energy"}), Energy))
    assert by_power == pytest.approx(record["energy_wh"] * 3600)
    # the counter was last read at most a quarter of an hour before the end
    assert by_power * (1 - 1.5 * QUARTER_US / (END_US - BEGIN_US)) < by_counter <= by_power * (1 + 1e-9)


def test_counts(run, facts):
    (record,) = true(run, "totals")
    for kind, name in ((TOTAL, "parts"), (GOOD, "good"), (SCRAP, "scrap")):
        made = sum(f.quantity for f in facts if isinstance(f, Count) and f.count_kind == kind)
        assert made == record[name]


def test_tool_lives(run, facts):
    expected = sorted((str(r["tool"]), r["end_us"], round(r["achieved"], 3)) for r in true(run, "tool_life"))
    lives = [f for f in of(facts, ToolLife) if not f.open]
    assert sorted((f.tool, f.end_us, round(f.used, 3)) for f in lives) == expected
    assert expected


def test_alarms(run, facts):
    expected = [(r["start_us"], r["end_us"], str(r["code"]), r["text"]) for r in true(run, "alarm")]
    assert [(f.start_us, f.end_us, f.code, f.text) for f in of(facts, Alarm)] == expected
