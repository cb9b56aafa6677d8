"""Figures of cycles, tools, lots and energy against numpy, and by hand: B-6 to B-10. Made-up input."""

import numpy as np
import pytest

from swarfline.facts import COMPLETE, CUTTING, STEPS, Cycle, Energy, ToolLife, ToolUse
from swarfline.measure.attribution import shares
from swarfline.measure.energy import energy_summary
from swarfline.measure.energy_use import CycleEnergy, base_load, charges, mean_power, per_cycle
from swarfline.measure.forecast import tool_forecasts
from swarfline.measure.lives import history
from swarfline.measure.lots import LotMade, lot_forecast
from swarfline.measure.planned import measured_cycle
from swarfline.measure.prospect import prospect
from swarfline.measure.runoff import run_off
from swarfline.measure.trend import cycle_trend

SECOND = 1_000_000
MINUTE = 60 * SECOND


def made(seed, count, base_s=40):
    """(cycles, cutting and other s of each, waits after each in s)."""
    source = np.random.default_rng(seed)
    times = source.integers(5, 30, (count, 2)) + np.array([base_s, 0])
    waits = source.integers(1, 200, count)
    cycles, at = [], 0
    for (cutting, other), wait in zip(times.tolist(), waits.tolist(), strict=True):
        steps = [0] * len(STEPS)
        steps[STEPS.index(CUTTING)], steps[STEPS.index("other")] = cutting * SECOND, other * SECOND
        end = at + (cutting + other) * SECOND
        tool = ToolUse("7", 1, (cutting + 1) * SECOND, cutting * SECOND)
        cycles.append(Cycle("N1", at, end, COMPLETE, "P1", "PH-12", parts=2, step_us=tuple(steps), tools=(tool,)))
        at = end + wait * SECOND
    return cycles, times, waits


def test_b_6_single_cycles():
    """numpy: least; medians by step and tool; shares of a change; cutting share, parts per hour, longest wait."""
    first, before, _ = made(1, 41)
    second, times, waits = made(2, 50, base_s=45)
    assert cycle_trend(second).minimum_s == times.sum(axis=1).min()
    usual = measured_cycle(second)
    assert usual.all_us == np.median(times.sum(axis=1)) * SECOND
    assert usual.step_us[CUTTING] == usual.cutting_us["7"] == np.median(times[:, 0]) * SECOND

    change = shares(first, second)
    apart = times.mean(axis=0) - before.mean(axis=0)
    assert float(change.size_us) == pytest.approx(apart.sum() * SECOND, rel=1e-12)
    assert float(change.step_us[CUTTING]) == pytest.approx(apart[0] * SECOND, rel=1e-12)
    assert float(change.tools[0].cutting_us) == pytest.approx(apart[0] * SECOND, rel=1e-12)
    assert float(change.no_tool_us) == pytest.approx(apart[1] * SECOND, rel=1e-12)

    found = run_off(second, ("P1", "PH-12"), 50, 80 * SECOND)
    assert found.cutting.value == pytest.approx(times[:, 0].sum() / times.sum(), rel=1e-12)
    assert found.parts_per_hour == pytest.approx(100 * 3600 / (times.sum() + waits[:-1].sum()), rel=1e-12)
    assert found.longest_wait.length_us == waits[:-1].max() * SECOND


def test_b_7_forecast_and_lot():
    """By hand: a cycle each 10 min, 2 parts and 1.5 of a life of 100 in each; 70 used, the warning is at 90."""
    now = 48 * 10 * MINUTE
    use = (ToolUse("7", 1, 0, 0, life_used=1.5),)
    cycles = [
        Cycle("N1", i * 10 * MINUTE, (i * 10 + 9) * MINUTE, COMPLETE, "P1", "PH-12", parts=2, tools=use)
        for i in range(48)
    ]
    life = ToolLife("N1", "P7", 0, now, "7", used=70.0, limit=100.0, warning_level=90.0, open=True)
    ahead = prospect(cycles, (), [(0, now)], lambda start, end: [(start, end)], now)
    (tool,) = tool_forecasts([life], cycles, [(0, now)], lambda start, end: [(start, end)], now)
    assert (tool.share_used, tool.remaining, tool.consumption_per_cycle) == (0.7, 30, 1.5)
    assert (tool.cycles_left, tool.parts_left) == (20, 40)
    assert float(ahead.pace.per_us) * 600 * SECOND == pytest.approx(1, rel=1e-12)
    assert tool.warning_at_us == now + 14 * 10 * MINUTE, "⌈20 ÷ 1.5⌉ cycles"
    assert tool.limit_at_us == now + 20 * 10 * MINUTE
    lot = LotMade("L1", "PH-12", 100, 69)
    done = lot_forecast(lot, ahead, [tool], None).done
    assert (lot.left, done.cycles, done.at_us) == (31, 16, now + 160 * MINUTE)


def test_b_8_lives():
    """numpy: quantiles and Σ of what was left ÷ Σ limits of twelve lives that end at 100, early or elsewhere."""
    used = np.array([100, 97, 96, 40, 55, 60, 101, 99, 30, 80, 95, 94.0])
    locked = used == 40
    replaced = np.isin(used, [55, 60])
    lives = [
        ToolLife(
            "N1", "P7", n, n + 1, "7", used=u, limit=100.0, locked=bool(bad), whole=True,
            reason="replaced" if moved else "reset",
        )
        for n, (u, bad, moved) in enumerate(zip(used.tolist(), locked, replaced, strict=True))
    ]  # fmt: skip
    found = history(lives)
    assert found.achieved == tuple(np.sort(used))
    assert found.given_up.value == pytest.approx(np.clip(100 - used, 0, None).sum() / 1200, rel=1e-12)
    early = int(((used < 95) & ~locked & ~replaced).sum())
    expected = {"at_limit": int((used >= 95).sum()), "failed": 1, "removed": 2, "early": early, "unknown": 0}
    assert found.ends == expected


def test_b_9_what_energy_goes_to():
    """numpy: mean power by condition; 10 % quantile of idle quarter hours; cost and CO2 by hand."""
    source = np.random.default_rng(3)
    watts = source.integers(200, 5000, 40).astype(float)
    busy = source.integers(0, 2, 40).astype(bool)
    quarter = 15 * MINUTE
    pieces = [
        Energy("N1", n * quarter, (n + 1) * quarter, "producing" if b else "waiting", w * 900, "power")
        for n, (w, b) in enumerate(zip(watts.tolist(), busy, strict=True))
    ]
    span = (0, 40 * quarter)
    power = mean_power(energy_summary(pieces, span, None))
    assert power == pytest.approx({"producing": watts[busy].mean(), "waiting": watts[~busy].mean()}, rel=1e-12)
    load = base_load(pieces, span)
    assert (load.watts, load.quarters) == (pytest.approx(np.quantile(watts[~busy], 0.1)), (~busy).sum())
    assert charges(12.5, 0.24, 0.38) == pytest.approx({"energy_cost": 3.0, "energy_co2": 4.75}, rel=1e-12)


def test_b_10_energy_of_cycles():
    """numpy: median of the cycles' energy, and its sum by the sum of their parts."""
    joules = np.random.default_rng(4).uniform(1e6, 9e6, 31)
    parts = np.arange(31) % 3 + 1
    rows = [CycleEnergy("P1", "PH-12", n, j) for n, j in zip(parts.tolist(), joules.tolist(), strict=True)]
    (found,) = per_cycle(rows)
    assert found.median_kwh == pytest.approx(np.median(joules) / 3.6e6, rel=1e-12)
    assert found.per_part.value == pytest.approx(joules.sum() / 3.6e6 / parts.sum(), rel=1e-12)
