"""A plant file of machines that are fed by hand, and the readings of a simulated one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from swarfline.plant import Plant
from swarfline.plant.load import check
from swarfline.signals import Reading, tool_signal
from swarfline_sim.events import WARM_UP
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import plant as simulated

SECOND = 1_000_000
START = 1_773_100_800_000_000
"""2026-03-10T00:00Z"""

WEEK = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

SIGNALS = (
    "state", "mode", "program", "program_state", "part", "lot", "lot_size", "part_count", "good_count",
    "scrap_count", "active_tool", "tool_changing", "positioning", "feed_hold", "feed_override", "spindle_speed",
    "spindle_load", "power", "alarm", "alarm_code", "alarm_text",
)  # fmt: skip
"""What a simulated machine offers."""


def raw_plant(*machines: str, **tables: Any) -> dict[str, Any]:
    """A plant file as parsed, with machines at a server that is not there."""
    nodes = {signal: f"t:{signal}" for signal in SIGNALS}
    return {
        "plant": {"name": "Test works", "time_zone": "UTC"},
        "namespaces": {"t": "urn:test"},
        "shifts": [{"name": "all", "start": "00:00", "end": "00:00", "days": WEEK}],
        "servers": [
            {
                "id": "line", "endpoint": "opc.tcp://127.0.0.1:9/none",
                "machines": [{"id": m, "root": f"t:{m}", "signals": nodes} for m in machines],
            }
        ],
        **tables,
    }  # fmt: skip


def plant_of(folder: Path, *machines: str, **tables: Any) -> Plant:
    """The checked plant file, as if it lay in ``folder``."""
    return check(raw_plant(*machines, **tables), str(folder / "plant.toml"))


def history(machine: str, minutes: int, seed: int = 1) -> list[Reading]:
    """What a simulated machine with short cycles says, received 20 ms later."""
    (spec,) = simulated([machine], "brisk", False)
    events = Machine(spec, seed, START).advance(START + minutes * 60 * SECOND).events
    told = [e for e in events if e.signal != WARM_UP]
    return [Reading(e.machine, e.signal, e.t_us, e.t_us + 20_000, e.value) for e in told]


def cycle(machine: str, number: int, used: float, limit: float = 100.0) -> list[Reading]:
    """One cycle of 60 s with tool 7, whose life it uses up to ``used``.

    Its last second still waits in the reorder window: it is told with the next cycle.
    """
    begin, end = START + number * 60 * SECOND, START + (number * 60 + 50) * SECOND
    first = [
        ("state", "executing"), ("mode", "automatic"), ("program", "O1"), ("active_tool", "7"),
        (tool_signal("1", "number"), "7"), (tool_signal("1", "life_basis"), "count"),
        (tool_signal("1", "limit"), limit), ("program_state", "running"),
    ]  # fmt: skip
    last = [(tool_signal("1", "used"), used), ("program_state", "ended"), ("state", "not_executing")]
    return [
        *(Reading(machine, signal, begin, begin, value) for signal, value in first),
        *(Reading(machine, signal, end, end, value) for signal, value in last),
    ]
