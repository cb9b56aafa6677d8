"""What the figures that look ahead are made from, read from the store: for the pages and for the alerts alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from swarfline.calendar import Calendar, Interval, intersect
from swarfline.facts import Cycle
from swarfline.measure.forecast import FEW, ToolForecast, tool_forecast
from swarfline.measure.prospect import Prospect, prospect
from swarfline.plant import Plant
from swarfline.store import Queries

RECENT_CYCLES = 200
"""Cycles with all that they tell, tools among it."""
PACE_CYCLES = 1000
"""Cycles that a pace and its spread are told by: long stops are rare."""
LONGEST_LOOK_US = 30 * 86_400_000_000
"""A pace is not looked for further back than this."""


def plant_now_us(plant: Plant, queries: Queries, clock_us: Callable[[], int]) -> int:
    """The plant's present: our clock, or how far the machines have told where a server's clock rules."""
    if all(s.clock == "ours" for s in plant.servers):
        return clock_us()
    told = [queries.latest_us(m.id) for m in plant.machines]
    return max((us for us in told if us is not None), default=clock_us())


def machine_forecasts(queries: Queries, calendar: Calendar, machine: str, now_us: int) -> list[ToolForecast]:
    """Tool forecasts of one machine."""
    return tool_list(queries, machine, machine_prospect(queries, calendar, machine, now_us))


def tool_list(queries: Queries, machine: str, ahead: Prospect) -> list[ToolForecast]:
    """Forecasts for the tools that are in the machine now."""
    return [tool_forecast(life, ahead) for life in queries.open_tool_lives(machine)]


def machine_prospect(
    queries: Queries, calendar: Calendar, machine: str, now_us: int, recent: Sequence[Cycle] | None = None
) -> Prospect:
    """What a machine makes and how fast; ``recent``: its newest complete cycles, where they are known already."""
    if recent is None:
        recent = queries.last_cycles(machine, RECENT_CYCLES, now_us)
    passed = queries.bare_cycles(machine, PACE_CYCLES, now_us) if len(recent) == RECENT_CYCLES else recent
    return prospect(
        [*recent, *_beyond(queries, machine, recent, now_us)],
        passed,
        _worked(queries, calendar, machine, passed, now_us),
        lambda start, end: calendar.planned(machine, start, end),
        now_us,
    )


def _beyond(queries: Queries, machine: str, recent: Sequence[Cycle], now_us: int) -> list[Cycle]:
    """The cycle that runs, and where a new program has just come, how that one ran in earlier lots."""
    running = queries.running_cycle(machine)
    newest = running or (recent[-1] if recent else None)
    if newest is None:
        return []
    known = sum((c.program, c.part) == (newest.program, newest.part) for c in recent)
    earlier: list[Cycle] = []
    if known < FEW and len(recent) == RECENT_CYCLES:
        earlier = queries.last_cycles(machine, RECENT_CYCLES, recent[0].start_us, newest.program)
    return earlier if running is None else [*earlier, running]


def _worked(
    queries: Queries, calendar: Calendar, machine: str, passed: Sequence[Cycle], now_us: int
) -> list[Interval]:
    """Planned and observed time since the first of these cycles began."""
    if not passed:
        return []
    since = max(passed[0].start_us, now_us - LONGEST_LOOK_US)
    return intersect(queries.observed(machine, since, now_us), calendar.planned(machine, since, now_us))
