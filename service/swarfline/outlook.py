"""What the figures that look ahead are made from, read from the store: for the pages and for the alerts alike."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from swarfline.calendar import Calendar, Interval, intersect
from swarfline.facts import SCRAP, TOTAL, Count, Cycle, Fact, ToolLife
from swarfline.measure.forecast import FEW, ToolForecast, tool_forecast
from swarfline.measure.loads import Load, LoadTrend, earlier_lives, life_loads, load_trend, whole_life
from swarfline.measure.lots import LotMade
from swarfline.measure.production import counts_from_cycles
from swarfline.measure.prospect import Prospect, prospect
from swarfline.plant import Plant
from swarfline.store import Queries

RECENT_CYCLES = 200
"""Cycles with all that they tell, tools among it."""
PACE_CYCLES = 1000
"""Cycles that a pace and its spread are told by: long stops are rare."""
LONGEST_LOOK_US = 30 * 86_400_000_000
"""A pace is not looked for further back than this."""

LIVES_BACK_US = 400 * 86_400_000_000
"""Tool lives that began earlier are seen from then on."""
MOST_CYCLES = 20_000
"""Cycles of a machine read for the loads of its tools; of more, each n-th."""
MOST_OF_LIFE = 1_000
"""Cycles of one life looked at; of more, each n-th."""


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


class LotSoFar(NamedTuple):
    """The running lot, when its first part was counted as far as was seen, and whether its beginning was seen."""

    lot: LotMade
    first_us: int | None = None
    whole: bool | None = None


def parts_counted(plant: Plant, queries: Queries, machine: str, span: Interval) -> list[Count]:
    """Counts in a span, in order of time; for machines that count no parts, the parts of their complete cycles."""
    found = queries.facts(Count, machine, *span)
    nodes = plant.nodes_of(plant.machine(machine))
    if "part_count" in nodes or any(c.count_kind == TOTAL for c in found):
        return found
    # from a moment before: a cycle that ends where the span begins does not overlap it, but its part counts
    cycles = queries.cycles(machine, span[0] - 1, span[1])
    made = [c for c in counts_from_cycles(cycles) if span[0] <= c.time_us < span[1]]
    return sorted([*found, *made], key=lambda c: c.time_us)


def running_lot(
    plant: Plant,
    queries: Queries,
    machine: str,
    values: Mapping[str, Any],
    part_now: str,
    now_us: int,
    target: int | None = None,
) -> LotSoFar:
    """The lot that a machine makes now, from the ``values`` it tells.

    ``part_now`` and ``target`` stand in for a part and a size that it does not tell.
    """
    lot, part = str(values.get("lot") or ""), str(values.get("part") or part_now)
    size = values.get("lot_size") or target
    if not lot:
        return LotSoFar(LotMade("", part, size, None))
    since_us = now_us - LONGEST_LOOK_US
    signals = plant.nodes_of(plant.machine(machine))
    counted, first_us = queries.lot_counts(machine, lot, since_us)
    made = counted.get(TOTAL)
    if made is None and "part_count" not in signals:
        made, first_us = queries.lot_of_cycles(machine, lot, since_us)
        before: Sequence[Fact] = queries.bare_cycles(machine, 1, first_us or now_us)
    else:
        before = queries.facts(Count, machine, since_us, first_us or now_us, 1)
    scrap = counted.get(SCRAP, 0) if "scrap_count" in signals else None
    return LotSoFar(LotMade(lot, part, size, made or 0, scrap), first_us, bool(before))


@dataclass(frozen=True, slots=True)
class PresentLoads:
    """The loads of one tool and program over the tool's present life, each ``every``-th cycle's.

    ``before`` are those of earlier lives; ``whole`` is what shares of the life are of.
    """

    life: ToolLife
    program: str
    loads: list[Load]
    before: list[list[Load]]
    every: int
    whole: float

    @property
    def trend(self) -> LoadTrend:
        """Whether the load rises."""
        return load_trend(self.loads, self.before)


def present_loads(queries: Queries, machine: str, now_us: int) -> Iterator[PresentLoads]:
    """Loads of every tool in the machine now whose life can be told as a share, by program."""
    since_us = now_us - LIVES_BACK_US
    lives = queries.facts(ToolLife, machine, since_us, now_us)
    present = [(life, earlier_lives(life, lives)) for life in queries.open_tool_lives(machine)]
    if not present:
        return
    begun_us = min(n.start_us for life, earlier in present for n in (life, *earlier))
    cycles = queries.cycle_tools(machine, max(since_us, begun_us), now_us, MOST_CYCLES)

    def loads_of(life: ToolLife, whole: float) -> tuple[int, dict[str, list[Load]]]:
        every, uses = cycles.of(life.tool, life.start_us, life.end_us, MOST_OF_LIFE)
        return every, life_loads(life, uses, whole, every)

    for life, earlier in present:
        whole = whole_life(life, earlier)
        if whole is None:
            continue
        before = [loads_of(one, one.limit or whole)[1] for one in earlier]
        every, now = loads_of(life, whole)
        for program, loads in sorted(now.items()):
            yield PresentLoads(life, program, loads, [one.get(program, []) for one in before], every, whole)
