"""A small works with a made-up morning, so plain that its figures can be reckoned by hand.

Tuesday 10 March 2026, Europe/Madrid (UTC+1), 12:00 is now. N1 runs a cycle every 180 s from 06:00: 170 s
producing, 10 s waiting; from 10:00 to 10:30 it has a fault. S1 waits, and is not observed from 08:00 to 09:00.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fastapi import FastAPI

from swarfline.alerts import Alert
from swarfline.facts import (
    COMPLETE,
    FAULT,
    HELD,
    PRODUCING,
    SCRAP,
    STEPS,
    TOTAL,
    UNOBSERVED,
    WAITING,
    Alarm,
    Condition,
    Count,
    Cycle,
    Energy,
    Fact,
    Gap,
    StepPiece,
    ToolLife,
    ToolUse,
)
from swarfline.plant import Plant, load
from swarfline.serve import create_app
from swarfline.store import Batch, Store

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
MIDNIGHT = 1_773_097_200_000_000
"""2026-03-10T00:00+01:00"""
START = MIDNIGHT + 6 * HOUR
NOW = MIDNIGHT + 12 * HOUR
FAULT_AT = (MIDNIGHT + 10 * HOUR, MIDNIGHT + 10 * HOUR + 30 * MINUTE)
GAP_AT = (MIDNIGHT + 8 * HOUR, MIDNIGHT + 9 * HOUR)

PLANT = """
plant = { name = "Irrigation works", time_zone = "Europe/Madrid" }

[[shifts]]
name = "early"
start = "06:00"
end = "14:00"
breaks = [{ start = "09:30", end = "09:50" }]

[[parts]]
id = "PH-12"
name = "Pump housing"
planned_cycle_time_s = 160
programs = ["O1201"]

[[cells]]
id = "north"
name = "North cell"

[[cells]]
id = "south"
name = "South cell"

[mappings.full.signals]
state = "mch:State"
mode = "mch:Mode"
program = "mch:Program"
program_state = "mch:ProgramState"
part_count = "mch:Parts"
scrap_count = "mch:Scrap"
active_tool = "mch:Tool"
tool_changing = "mch:Changing"
spindle_speed = "mch:Speed"
spindle_load = "mch:Load"
power = "mch:Power"
alarm = "mch:Alarm"

[mappings.full.tools.each.1]
number = "mch:T1"
used = "mch:T1Used"
limit = "mch:T1Limit"
warning_level = "mch:T1Warning"

[[servers]]
id = "line"
endpoint = "opc.tcp://127.0.0.1:4840"

[[servers.machines]]
id = "N1"
cell = "north"
mapping = "full"

[[servers.machines]]
id = "S1"
name = "South one"
cell = "south"
signals = { executing = "mch:Executing", cycle_count = "mch:Cycles" }
"""


def plant(folder: Path) -> Plant:
    """The plant file above, loaded."""
    path = folder / "plant.toml"
    path.write_text(PLANT, encoding="utf-8")
    return load(path)


def cycle_starts() -> list[int]:
    """Every 180 s of the morning but for the fault."""
    return [s for s in range(START, NOW, 180 * SECOND) if not FAULT_AT[0] <= s < FAULT_AT[1]]


def facts() -> list[Fact]:
    """The morning."""
    found: list[Fact] = [_fault(), Alarm("N1", *FAULT_AT, "A1", "Door switch")]
    for number, start in enumerate(cycle_starts()):
        end = start + 170 * SECOND
        found += [_cycle(start, end), Condition("N1", start, end, PRODUCING)]
        found.append(Condition("N1", end, end + 10 * SECOND, WAITING, open=end + 10 * SECOND == NOW))
        found.append(Count("N1", end, TOTAL, 1, "PH-12", "L1"))
        if number in (40, 80):
            found.append(Count("N1", end, SCRAP, 1, "PH-12", "L1"))
    found += [
        Energy("N1", q, q + 15 * MINUTE, PRODUCING, 3_600_000.0, "power") for q in range(START, NOW, 15 * MINUTE)
    ]
    found += [
        Condition("S1", START, GAP_AT[0], WAITING),
        Condition("S1", *GAP_AT, UNOBSERVED),
        Condition("S1", GAP_AT[1], NOW, WAITING, open=True),
        Gap("S1", *GAP_AT, "connection lost"),
        ToolLife("N1", "1", START, NOW, "7", "1", "Face mill 50", "count", 95.0, 100.0, 90.0, open=True),
    ]
    return found


def _fault() -> Condition:
    return Condition("N1", *FAULT_AT, FAULT, "A1", "Door switch")


def _cycle(start: int, end: int) -> Cycle:
    steps = {"cutting": 120, "tool_change": 10, "positioning": 0, "other": 40, HELD: 0}
    return Cycle(
        "N1",
        start,
        end,
        COMPLETE,
        "O1201",
        "PH-12",
        "L1",
        1,
        tuple(steps[s] * SECOND for s in STEPS),
        720_000.0,
        (ToolUse("7", 1, 160 * SECOND, 120 * SECOND, 31.5, 60.0, 1.0),),
        (StepPiece(0, "tool_change", "7"), StepPiece(10 * SECOND, "cutting", "7")),
    )


def now_of(machine: str, condition: str, since_us: int, **more: object) -> dict[str, object]:
    """A present picture, as the collector stores it."""
    return {
        "machine": machine,
        "at_us": NOW,
        "received_us": NOW,
        "linked": True,
        "condition": condition,
        "since_us": since_us,
        "values": {"part": "PH-12", "lot": "L1", "spindle_load": 12.5},
        "cycle": None,
        **more,
    }


def status(**more: object) -> dict[str, object]:
    """A server's status, as the collector stores it."""
    return {
        "server": "line",
        "endpoint": "opc.tcp://127.0.0.1:4840",
        "state": "connected",
        "since_us": START,
        "last_error": "",
        "attempts": 1,
        "next_attempt_us": None,
        "reconnects": 0,
        "changes": 5,
        "overflows": 0,
        "sequence_gaps": 0,
        "republished": 0,
        "signals": 12,
        "refused": {"N1/power": "BadNodeIdUnknown"},
        "unmapped": {},
        "unmapped_counts": {},
        "ignored": {},
        "ignored_last": {},
        "clock_offset_us": 2500,
        "revised_publishing_ms": 500.0,
        "revised_sampling_ms": 100.0,
        "revised_queue_size": 200,
        "remarks": ["sends every 5000 ms, not every 500 ms as asked: what happens is seen so much later"],
        "changes_per_s": 12.5,
        "last_life_us": NOW,
        "last_publish_us": NOW,
        **more,
    }


ALERT = Alert(
    "tool_near_limit", "N1", "1/7", "warning", "Tool 7 (Face mill 50): 95 of 100 uses used", NOW - HOUR,
    detail={"pot": "7", "cycles_left": 5, "limit_at": "2026-03-10T11:05:00Z"},
)  # fmt: skip


def fill(store: Store) -> None:
    """Store the morning."""
    now = {
        "N1": now_of("N1", WAITING, NOW - 10 * SECOND),
        "S1": now_of("S1", WAITING, GAP_AT[1], values={}),
    }
    store.writer().commit(Batch(facts=facts(), now=now, servers={"line": status()}, seen_us=NOW, raised=[ALERT]))


def works(folder: Path, clock_us: Callable[[], int] = lambda: NOW) -> tuple[FastAPI, Store]:
    """The application over the stored morning."""
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    fill(store)
    return create_app(plant(folder), store, clock_us=clock_us), store
