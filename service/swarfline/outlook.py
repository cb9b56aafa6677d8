"""What the figures that look ahead are made from, read from the store: for the pages and for the alerts alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from swarfline.calendar import Calendar, Interval
from swarfline.facts import Condition, Cycle
from swarfline.measure.elements import worked
from swarfline.measure.forecast import FEW, ToolForecast, tool_forecasts
from swarfline.plant import Plant
from swarfline.store import Queries

RECENT_CYCLES = 200
LONGEST_LOOK_US = 30 * 86_400_000_000
"""A pace is not looked for further back than this."""


def plant_now_us(plant: Plant, queries: Queries, clock_us: Callable[[], int]) -> int:
    """The plant's present: our clock, or how far the machines have told where a server's clock rules."""
    if all(s.clock == "ours" for s in plant.servers):
        return clock_us()
    told = [queries.latest_us(m.id) for m in plant.machines]
    return max((us for us in told if us is not None), default=clock_us())


def machine_forecasts(
    queries: Queries, calendar: Calendar, machine: str, now_us: int, recent: Sequence[Cycle] | None = None
) -> list[ToolForecast]:
    """Tool forecasts of one machine; ``recent``: its newest complete cycles, where they are known already."""
    if recent is None:
        recent = queries.last_cycles(machine, RECENT_CYCLES, now_us)
    return tool_forecasts(
        queries.open_tool_lives(machine),
        [*recent, *_beyond(queries, machine, recent, now_us)],
        _worked(queries, calendar, machine, recent, now_us),
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
    queries: Queries, calendar: Calendar, machine: str, recent: Sequence[Cycle], now_us: int
) -> list[Interval]:
    if not recent:
        return []
    since = max(recent[0].start_us, now_us - LONGEST_LOOK_US)
    known = queries.facts(Condition, machine, since, now_us)
    return worked(known, calendar.planned(machine, since, now_us))
