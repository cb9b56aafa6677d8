"""What is left over, by hand and by integration with scipy: B-11 to B-15.

B-11: kinematics as in K-1 to K-5 (common practice, no source), medians by numpy. B-12: Barlow & Proschan 1965
(from memory), integrals and minimum by scipy. B-13: medians by numpy. B-14: arithmetic. B-15: rework quantity of
ISO 22400-2 (from memory).
"""

from __future__ import annotations

from datetime import UTC, datetime
from math import inf
from pathlib import Path

import httpx
import numpy as np
import pytest
from scipy import integrate, optimize, stats

from swarfline.calendar import to_us
from swarfline.facts import COMPLETE, Condition, Count, Cycle, ToolUse
from swarfline.measure.changes import LifeAhead, plan_changes
from swarfline.measure.loads import Load, load_trend
from swarfline.measure.production import Correction, PartPlan, Quantities, production
from swarfline.measure.replacement import replacement
from swarfline.measure.survival import Lifetime
from swarfline.measure.weibull import fit
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Batch, Store

SECOND = 1_000_000
START = to_us(datetime(2026, 3, 10, 8, tzinfo=UTC))

PLANT = """\
plant = { name = "Irrigation works", time_zone = "UTC" }

[[parts]]
id = "PH-12"
planned_cycle_time_s = 45
planned_steps = [{ tool = "1", cutting_s = 20 }, { tool = "2", cutting_s = 18, angles_deg = { tilt = 90 } }]

[[servers]]
id = "line"
endpoint = "opc.tcp://127.0.0.1:4840"

[[servers.machines]]
id = "N1"

[servers.machines.signals]
state = "mch:State"
part_count = "mch:Count"
active_tool = "mch:Tool"
tool_changing = "mch:Changing"
positioning = "mch:Positioning"
spindle_speed = "mch:Speed"
spindle_load = "mch:Load"

[servers.machines.motion]
tool_to_tool_s = 0.6
chip_to_chip_s = 1.2
axes = [{ name = "tilt", max_rpm = 50, acceleration_deg_s2 = 444.4444444444445 }]
"""

CUTS_S = np.array([[20.5, 18.1], [21.0, 18.0], [20.7, 18.4], [20.6, 18.2], [29.0, 18.3]])
OTHER_S = 0.6


def run(number: int, first_s: float, second_s: float) -> Cycle:
    """A cycle with 2 s of tool changes, 0.5 s of positioning and OTHER_S of what is neither."""
    steps = tuple(round(s * SECOND) for s in (first_s + second_s, 2.0, 0.5, OTHER_S, 0.0))
    cuts = (round(s * SECOND) for s in (first_s, second_s))
    tools = tuple(ToolUse(str(n), n, cut + SECOND, cut) for n, cut in enumerate(cuts, 1))
    begun = START + number * 60 * SECOND
    return Cycle("N1", begun, begun + sum(steps), COMPLETE, "O1", "PH-12", parts=1, step_us=steps, tools=tools)


async def test_b_11_planned_against_measured(tmp_path: Path) -> None:
    """Two changes of 0.6 s; tilt to 90° and back, 0.9 s each, is 0.3 s beyond; the ways take 1.2 − 0.9 = 0.3 s."""
    path = tmp_path / "plant.toml"
    path.write_text(PLANT, "utf-8")
    store = Store.open(f"sqlite:///{tmp_path / 'plant.db'}")
    cycles = [run(n, *cuts) for n, cuts in enumerate(CUTS_S)]
    seen = Condition("N1", START, START + 3600 * SECOND, "producing", open=True)
    store.writer().commit(Batch(facts=[seen, *cycles]))
    door = httpx.ASGITransport(create_app(load(path), store, clock_us=lambda: START + 3600 * SECOND))
    async with httpx.AsyncClient(transport=door, base_url="http://127.0.0.1") as client:
        (row,) = (await client.get("/api/v1/planned-cycles")).json()["items"]
    store.close()
    planned = {"cutting": 38.0, "tool_change": 1.2, "positioning": 0.6, "other": 0.6}
    measured = {"cutting": np.median(CUTS_S.sum(axis=1)), "tool_change": 2.0, "positioning": 0.5, "other": OTHER_S}
    for step in row["steps"]:
        name = step["step"]
        assert step["planned_s"] == pytest.approx(planned[name], abs=2e-6)
        assert step["difference_s"] == pytest.approx(measured[name] - planned[name], abs=2e-6)
    assert row["cycle"]["planned_s"] == pytest.approx(40.4, abs=2e-6)
    assert [t["difference_s"] for t in row["tools"]] == pytest.approx(list(np.median(CUTS_S, axis=0) - [20, 18]))


def test_b_12_what_a_replacement_interval_saves() -> None:
    lifetimes = [Lifetime(used, True) for used in stats.weibull_min(3, scale=400).ppf(np.arange(1, 20) / 20)]
    found = fit(lifetimes)
    assert found is not None
    law = stats.weibull_min(found.law.shape, scale=found.law.scale)

    def rate(at: float) -> float:
        lasting = law.sf(at) if at < inf else 0.0
        used, _ = integrate.quad(law.sf, 0, at)
        return float((10 * lasting + 60 * (1 - lasting)) / used)

    best = optimize.minimize_scalar(rate, bounds=(1, 2000), method="bounded", options={"xatol": 1e-9})
    saved = replacement(found, 10, 60)
    assert saved.interval == pytest.approx(best.x, rel=1e-4)
    assert saved.saving == pytest.approx(1 - best.fun / rate(inf), rel=1e-7)


def test_b_13_how_far_a_load_has_risen() -> None:
    noise = np.random.default_rng(7).normal(0, 0.5, 400)
    shares = np.arange(400) / 500
    before = [Load(float(s), 30.0, 50.0) for s in np.arange(500) / 500]
    means = 30 + 10 * shares + noise
    now = [Load(float(s), float(m), 60.0) for s, m in zip(shares, means, strict=True)]
    found = load_trend(now, [before])
    assert found.rise == pytest.approx(np.median(means[-40:]) / 30 - 1, rel=1e-12)
    assert found.peak_rise == pytest.approx(0.2)


def test_b_14_what_changes_give_up() -> None:
    """Lives of 100; 40, 45 and 90 cycles left of 100 ahead: the third may wait until it is due."""
    plan = plan_changes([LifeAhead(40, 100), LifeAhead(45, 100), LifeAhead(90, 100)], 100, 1 / 5)
    given = {change.tool: (stop.cycle, change.given_up) for stop in plan.stops for change in stop.changes}
    assert given[0][0] == given[1][0]
    assert given[0][1] == 40 - given[0][0] and given[1][1] == 45 - given[0][0]
    assert given[2][1] == 90 - given[2][0]
    assert max(lost for _, lost in given.values()) <= 20
    assert len(plan.stops) == 2


def test_b_15_rework_is_counted_apart() -> None:
    """100 made, 3 of them scrap, 4 others reworked: RQ 4, GQ 97; RQ ÷ PQ = 0.04."""
    counts = [Count("N1", START + n, "total", 10, "PH-12") for n in range(10)]
    said = [
        Correction(START + 2, "PH-12", Quantities(scrap=3)),
        Correction(START + 5, "PH-12", Quantities(rework=4)),
    ]
    plans = {"PH-12": PartPlan("PH-12", 45 * SECOND)}
    made = production(counts, (), plans, (START, START + 100), said).all_parts
    assert (made.total, made.scrap, made.rework, made.good) == (100, 3, 4, 97)
    assert made.rework / made.total == 0.04
    half = production(counts, (), plans, (START, START + 5), said).all_parts
    assert (half.total, half.scrap, half.rework) == (50, 3, 0), "where the parts were made"
