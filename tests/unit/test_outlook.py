"""What forecasts are made from: the newest cycles, the running one, and earlier lots of a program just begun."""

from __future__ import annotations

from pathlib import Path

import pytest

from swarfline.calendar import Calendar
from swarfline.facts import COMPLETE, Cycle, ToolLife, ToolUse
from swarfline.outlook import RECENT_CYCLES, machine_forecasts
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
