"""A plant that is awkward to show: sixty machines, names of forty letters, OEE above 100 %, machines never seen.

Tuesday 10 March 2026, 12:00, as in ``serve.works``. By its number a machine is one of four sorts (SORTS):
fast (its planned time is far too long, so OEE stands far above 100 %), plain (as N1 of the works),
unseen (its server was never reached), and lost (nothing since 08:00).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

from fastapi import FastAPI
from serve.works import HOUR, MIDNIGHT, MINUTE, NOW, PLANT, SECOND, START, now_of, status

from swarfline.alerts import SEVERITIES, Alert
from swarfline.facts import (
    COMPLETE,
    FAULT,
    PRODUCING,
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
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Batch, Store

SORTS = FAST, PLAIN, UNSEEN, LOST = "fast", "plain", "unseen", "lost"
LETTERS = "Flachbettkurvenschleiffertigungszentrum-"
PART = "Pumpengehaeuseoberteilflanschrohling-XL9"
PROGRAM = "HAUPTPROGRAMM_GEHAEUSEOBERTEIL_SEITE_2_B"
TOOL = "Vollhartmetallschaftfraeserlangschneidig"
LOST_AT = START + 2 * HOUR


def names(count: int) -> list[str]:
    """The machines' identifiers: every third is forty letters without a break, the others are short."""
    return [f"{LETTERS[:36]}-{n:03}" if n % 3 == 0 else f"M{n:03}" for n in range(count)]


def sort_of(number: int) -> str:
    """Of which sort a machine is."""
    return SORTS[number % len(SORTS)]


def plant_text(count: int) -> str:
    """The plant file: cells of twelve machines, the last machines in none; the first cell's name is long."""
    head, _, _ = PLANT.partition("[[servers]]")
    head += (
        '[figures]\ncurrency = "EUR"\nhourly_rate = 85\n[energy]\nprice_per_kwh = 0.22\nco2_kg_per_kwh = 0.35\n'
    )
    head += f'[[parts]]\nid = "{PART}"\nname = "{PART}"\nplanned_cycle_time_s = 450\n'
    for cell in range(count // 12):
        head += f'[[cells]]\nid = "c{cell}"\nname = "{LETTERS if cell == 0 else "Cell"} {cell}"\n'
    head += '[[servers]]\nid = "line"\nendpoint = "opc.tcp://127.0.0.1:4840"\n'
    for number, name in enumerate(names(count)):
        head += f'[[servers.machines]]\nid = "{name}"\nroot = "mch:{number}"\nmapping = "full"\n'
        if number // 12 < count // 12:
            head += f'cell = "c{number // 12}"\n'
    return head


def facts(count: int, pace_s: int = 600, start_us: int = START) -> Iterator[Fact]:
    """What each machine did since ``start_us``, a cycle every ``pace_s`` seconds."""
    for number, machine in enumerate(names(count)):
        sort = sort_of(number)
        if sort == UNSEEN:
            continue
        end = LOST_AT if sort == LOST else NOW
        made = (PART, PROGRAM, "LOT-" + LETTERS) if sort == FAST else ("PH-12", "O1201", "L1")
        yield from _cycles(machine, made, range(start_us, end, pace_s * SECOND), pace_s)
        yield from _tools(machine, end, number)
        yield Energy(machine, start_us, end, PRODUCING, 7_200_000.0 * (number + 1), "power")
        if sort == LOST:
            yield Condition(machine, LOST_AT, NOW, UNOBSERVED, open=True)
            yield Gap(machine, LOST_AT, NOW, "connection lost", open=True)


def _cycles(machine: str, made: tuple[str, str, str], starts: range, pace_s: int) -> Iterator[Fact]:
    part, program, lot = made
    for at, start in enumerate(starts):
        stopped = WAITING if at % 7 else FAULT
        end = start + (pace_s - 10 - (400 if stopped == FAULT and pace_s > 420 else 0)) * SECOND
        steps = {"cutting": (end - start) // 2}
        steps["other"] = end - start - steps["cutting"]
        strip = (StepPiece(0, "cutting", "7"), StepPiece(steps["cutting"], "other", "7"))
        uses = (ToolUse("7", 1, steps["cutting"], steps["cutting"], 31.5, 60.0, 1.0),)
        yield Cycle(
            machine, start, end, COMPLETE, program, part, lot, 2 if part == PART else 1,
            tuple(steps.get(s, 0) for s in STEPS), 720_000.0, uses, strip,
        )  # fmt: skip
        yield Condition(machine, start, end, PRODUCING)
        until = start + pace_s * SECOND
        told = ("A1", f"Door switch of {LETTERS} does not close") if stopped == FAULT else ("", "")
        yield Condition(machine, end, until, stopped, *told, open=until == NOW)
        if stopped == FAULT:
            yield Alarm(machine, end, until, *told)
        yield Count(machine, end, TOTAL, 2 if part == PART else 1, part, lot)


def _tools(machine: str, end: int, number: int) -> Iterator[Fact]:
    life = partial(
        ToolLife, machine, start_us=START, end_us=end, basis="count", limit=100.0, warning_level=90.0, open=True
    )
    yield life(pot_key="1", tool="7", pot="1", name=TOOL, used=95.0 + number % 10)
    ended = {"start_us": MIDNIGHT, "end_us": START, "used": 97.0, "whole": True, "reason": "reset", "open": False}
    yield life(pot_key="1", tool="7", pot="1", name=TOOL, **ended)
    yield life(pot_key="2", tool=TOOL, pot="12", name="Face mill 50", used=20.0)


def alerts(count: int) -> list[Alert]:
    """One for every plain machine."""
    text = f"Tool 7 ({TOOL}) in pot 1 on %s: 95 of 100 uses used"
    detail = {"pot": "1", "cycles_left": 5, "limit_at": "2026-03-10T11:05:00Z"}
    return [
        Alert("tool_near_limit", m, "1/7", SEVERITIES[n % 3], text % m, NOW - n * MINUTE, detail=detail)
        for n, m in enumerate(names(count))
        if sort_of(n) == PLAIN
    ]


def fill(store: Store, count: int, pace_s: int = 600) -> None:
    """Store what happened, and what is so now."""
    now = {
        m: now_of(m, PRODUCING, NOW - 10 * SECOND, values={"part": PART, "lot": "LOT-" + LETTERS})
        if sort_of(n) == FAST
        else now_of(m, UNOBSERVED, LOST_AT, linked=False, received_us=LOST_AT)
        if sort_of(n) == LOST
        else now_of(m, WAITING, NOW - 10 * SECOND)
        for n, m in enumerate(names(count))
        if sort_of(n) != UNSEEN
    }
    batch = Batch(facts=list(facts(count, pace_s)), now=now, servers={"line": status()}, seen_us=NOW)
    store.writer().commit(replace(batch, raised=alerts(count)))


def crowded(folder: Path, count: int = 60, pace_s: int = 600) -> tuple[FastAPI, Store]:
    """The application over such a plant."""
    (folder / "plant.toml").write_text(plant_text(count), encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    fill(store, count, pace_s)
    return create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW), store
