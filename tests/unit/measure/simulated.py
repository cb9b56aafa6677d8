"""Histories from the simulator's truth: its machines with their stops, tool changes, setups, lots and shifts."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from random import Random

from swarfline.calendar import Interval, intersect, merge
from swarfline.facts import COMPLETE, Cycle, ToolLife, ToolUse
from swarfline_sim.machine import Machine
from swarfline_sim.planning import BREAK, CLOSED
from swarfline_sim.scenario import plant

from .renewal import DAY, History

START = 1_772_406_000_000_000
"""2026-03-02T00:00+01:00, a Monday"""
LENGTH = 21 * DAY
KNOWN = 1000
"""Cycles before the present that a forecast is given, as in the service."""


def histories(name: str, seed: int, count: int) -> Iterator[History]:
    """Forecasts to be made for one machine in three weeks: random moments, random tools, random lives ahead.

    A moment or a life whose end is not seen is drawn again.
    """
    (spec,) = plant((name,))
    truth = Machine(spec, seed, START).advance(START + LENGTH).truth
    cycles = [_cycle(record) for record in truth if record["kind"] == "cycle"]
    times = _planned(spec.plan)
    rng = Random(f"{name}/{seed}")
    found = 0
    while found < count:
        history = _history(cycles, times, rng)
        if history is not None:
            found += 1
            yield history


def _cycle(record) -> Cycle:
    uses = tuple(ToolUse(str(t["tool"]), 1, 0, 0, life_used=t["cutting_s"]) for t in record["tools"])
    names = (record["program"], record["part"], record["lot"], record["parts"])
    return Cycle(record["machine"], record["start_us"], record["end_us"], record["outcome"], *names, tools=uses)


def _planned(plan) -> list[Interval]:
    found, at = [], START
    while at < START + LENGTH:
        span = plan.at(at)
        if span.kind not in (CLOSED, BREAK):
            found.append((at, span.end_us))
        at = span.end_us
    return merge(found)


def _history(cycles: list[Cycle], times: list[Interval], rng: Random) -> History | None:
    now = rng.randrange(START + 6 * DAY, START + 16 * DAY)
    if not intersect(times, [(now, now + 1)]):
        return None
    known = bisect_right(cycles, now, key=lambda c: c.end_us)
    before = [c for c in cycles[max(0, known - KNOWN - 20) : known] if c.outcome == COMPLETE][-KNOWN:]
    tool = rng.choice(before[-1].tools)
    ahead = rng.randint(5, 150)
    remaining = (ahead + rng.random()) * tool.life_used
    count, end = 0, now
    running = cycles[known]
    told = now >= running.start_us + rng.random() * running.duration_us
    spent = -_used(running, tool.tool) if told else 0.0
    for cycle in cycles[known:]:
        if cycle.part != before[-1].part:
            return None
        spent += _used(cycle, tool.tool)
        if spent > remaining:
            life = ToolLife(
                "N1", "P", 0, now, tool.tool, basis="time", used=1000.0, limit=1000.0 + remaining, open=True
            )
            return History(before, life, times, now, count, end)
        if cycle.outcome == COMPLETE and not (told and cycle is running):
            count, end = count + 1, cycle.end_us
    return None


def _used(cycle: Cycle, tool: str) -> float:
    return sum(use.life_used for use in cycle.tools if use.tool == tool)
