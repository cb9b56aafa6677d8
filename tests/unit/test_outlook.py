"""What forecasts are made from: the newest cycles, the running one, and earlier lots of a program just begun."""

from __future__ import annotations

from datetime import time
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from swarfline.calendar import Calendar, Shift
from swarfline.facts import COMPLETE, PRODUCING, UNOBSERVED, Condition, Cycle, ToolLife, ToolUse
from swarfline.outlook import RECENT_CYCLES, machine_forecasts, machine_prospect
from swarfline.plant import load
from swarfline.store import Batch, Store

MINUTE = 60_000_000


def cycle(number: int, program: str, used: float, **more: object) -> Cycle:
    tools = (ToolUse("7", 1, 0, 0, life_used=used),)
    fields = {"outcome": COMPLETE, "program": program, "part": program, "parts": 1, "tools": tools, **more}
    return Cycle("N1", number * MINUTE, (number + 1) * MINUTE, **fields)  # type: ignore[arg-type]


@pytest.fixture
def plant_calendar(write_plant) -> Calendar:
    return load(write_plant()).calendar()


@pytest.mark.parametrize(("earlier", "expected"), [(2.0, 2.0), (None, None)])
def test_a_program_just_begun_is_told_by_its_earlier_lot(tmp_path: Path, plant_calendar, earlier, expected):
    store = Store.open(f"sqlite:///{tmp_path / 'plant.db'}")
    lot = [cycle(n, "P2", earlier) for n in range(9)] if earlier else []
    long_run = [cycle(20 + n, "P1", 5.0) for n in range(RECENT_CYCLES + 20)]
    end = 20 + RECENT_CYCLES + 20
    running = cycle(end, "P2", 0.5, outcome="running", open=True)
    tool = ToolLife("N1", "1", 0, end * MINUTE, "7", used=40.0, limit=100.0, open=True)
    store.writer().commit(Batch(facts=[*lot, *long_run, running, tool]))
    (found,) = machine_forecasts(store.queries, plant_calendar, "N1", (end + 1) * MINUTE)
    store.close()
    assert found.consumption_per_cycle == expected
    assert found.cycles_left == (30 if expected else None)


def test_the_pace_is_from_many_cycles_and_from_observed_time(tmp_path: Path):
    """More cycles than tools are read of; an hour in which nothing was seen takes nothing from the pace."""
    always = Calendar(ZoneInfo("UTC"), (Shift("all", time(0), time(0), frozenset(range(1, 8))),))
    count, dark = RECENT_CYCLES + 100, 60
    cycles = [cycle(n, "P1", 1.0) for n in range(count - 150)]
    cycles += [cycle(n + dark, "P1", 1.0) for n in range(count - 150, count)]
    gap, end = (count - 150) * MINUTE, (count + dark) * MINUTE
    conditions = [
        Condition("N1", 0, gap, PRODUCING),
        Condition("N1", gap, gap + dark * MINUTE, UNOBSERVED),
        Condition("N1", gap + dark * MINUTE, end, PRODUCING, open=True),
    ]
    store = Store.open(f"sqlite:///{tmp_path / 'plant.db'}")
    store.writer().commit(Batch(facts=[*cycles, *conditions]))
    found = machine_prospect(store.queries, always, "N1", end)
    store.close()
    assert len(found.recent) == 50
    assert found.pace is not None and found.pace.per_us == Fraction(1, MINUTE)
    assert found.pace.times is not None
    assert found.pace.times.batch * found.pace.times.batches > RECENT_CYCLES, "from all that is known"
