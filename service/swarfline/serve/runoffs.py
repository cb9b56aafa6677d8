"""/run-offs: the newest cycles of a machine and part against the planned time."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.facts import CUTTING, Cycle
from swarfline.grounds import steps_known
from swarfline.measure.runoff import RULINGS, TARGET, RunOff, cautions, in_words, run_off
from swarfline.measure.trend import steady_cycles
from swarfline.serve.assemble import Assembly
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.series import choose
from swarfline.serve.shapes import Figures, Shape, percent
from swarfline.serve.spans import DAY, From, To, resolve
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show, show_or_none

router = APIRouter(tags=["figures"])

CYCLES = 50
"""Cycles of a run-off unless told otherwise (common practice, no source)."""

LOOK_BACK_US = 365 * 86_400_000_000
MOST_READ = 10_000
"""So many of a machine's complete cycles are looked through at most."""


class RunOffRow(Shape):
    """One run-off; null where it cannot be told."""

    ruling: str = Field(description=f"one of: {', '.join(RULINGS)}")
    words: str = Field(description="the ruling in a sentence")
    cautions: list[str]
    machine: str
    program: str | None = Field(description="null: no cycle was found")
    part: str | None
    from_: str | None = Field(alias="from", description="start of the first cycle")
    to: str | None = Field(description="end of the last cycle")
    coverage_pct: float | None = Field(description="observed share of the planned time in between")
    asked: int
    count: int = Field(description="steady cycles that are there: complete, without holds, wholly in sight")
    held: int
    unobserved: int = Field(description="complete, without holds, but partly out of sight")
    aborted: int
    partial: int
    other: int = Field(description="cycles of another program or part in between")
    limit_s: float | None = Field(description="planned cycle time, or the limit asked for")
    mean_s: float | None
    median_s: float | None
    minimum_s: float | None
    maximum_s: float | None
    deviation_s: float | None
    target: float = Field(description="index to be reached")
    index: float | None = Field(description="Cmk: (limit − mean) ÷ 3 deviations")
    index_low: float | None = Field(description="ends of its 95 % interval")
    index_high: float | None
    index_within: float | None = Field(description="by the spread from cycle to cycle, without drift")
    over_count: int | None = Field(description="cycles longer than the limit")
    over_low_pct: float | None = Field(description="ends of the 95 % interval of their share")
    over_high_pct: float | None
    beyond_count: int = Field(description="cycles beyond the limits of single cycles")
    autocorrelation: float | None = Field(description="tie to the cycle before, -1 to 1")
    cutting_pct: float | None = Field(description="share of the cycle time in which chips are made")
    parts: int
    parts_per_hour: float | None = Field(description="from the first start to the last end, waits in")
    parts_per_hour_running: float | None = Field(description="as if nothing lay between the cycles")
    longest_wait_s: float | None = Field(description="between two cycles")
    longest_wait_at: str | None


PartName = Annotated[str | None, Query(description="part; by default that of the newest cycle")]
Program = Annotated[str | None, Query(description="main program; by default that of the newest cycle")]
Number = Annotated[int, Query(alias="n", ge=2, le=1000, description="consecutive steady cycles")]
Limit = Annotated[float | None, Query(gt=0, description="in place of the part's planned cycle time")]
Target = Annotated[float, Query(gt=0, le=10, description="index to be reached; 1.33 (4/3) by default")]


@router.get("/run-offs", response_model=Figures[RunOffRow], responses=OPENAPI)
def list_run_offs(
    room: InRoom,
    reply: Replying,
    from_: From = None,
    to: To = None,
    machine: MachineName = None,
    cell: CellName = None,
    part: PartName = None,
    program: Program = None,
    number: Number = CYCLES,
    limit_s: Limit = None,
    target: Target = TARGET,
) -> Any:
    """The newest n cycles that began since `from` (a year ago unless told) and ended by `to`, of each machine."""
    chosen = [m.id for m in room.machines(machine, cell)]
    start = from_ or show(room.now_us() - LOOK_BACK_US, room.zone)
    asked = resolve(room, start, to, None, chosen, DAY)
    rows = []
    for one in chosen:
        made = newest_made(room, one, asked.interval, program, part)
        found = find_run_off(room, one, asked.interval, made, number, limit_s, target)
        rows.append(run_off_row(room, one, made, found, asked.now_us))
    work = Assembly(room, asked.interval, asked.now_us)
    return reply.figures(room, asked, work.coverage(chosen), RunOffRow, rows)


def newest_made(
    room: Room, machine: str, span: Interval, program: str | None, part: str | None
) -> tuple[str, str] | None:
    """Program and part of the newest complete cycle of a span that fits; None without any."""
    found = _newest(room, machine, span, program, part, 0)
    return (found[-1].program, found[-1].part) if found else None


def _newest(
    room: Room, machine: str, span: Interval, program: str | None, part: str | None, least: int
) -> list[Cycle]:
    """The newest complete cycles of one program and part, so many steady ones among them where there are."""
    reach = 2 * least + 50
    while True:
        read = room.queries.last_cycles(machine, reach, span[1], program)
        fitting = choose([c for c in read if c.start_us >= span[0]], program, part)
        exhausted = len(read) < reach or read[0].start_us < span[0] or reach >= MOST_READ
        if exhausted or (fitting and len(steady_cycles(fitting)) >= least):
            return fitting
        reach = min(MOST_READ, 4 * reach)


def find_run_off(
    room: Room,
    machine: str,
    span: Interval,
    made: tuple[str, str] | None,
    number: int,
    limit_s: float | None,
    target: float,
) -> RunOff:
    """The run-off of what was ``made`` last in the span."""
    program, part = made or ("", "")
    plan = room.plans.get(part)
    planned_us = plan.planned_cycle_us if plan else None
    limit_us = planned_us if limit_s is None else limit_s * 1_000_000
    steady = steady_cycles(_newest(room, machine, span, program, part, number) if made else ())[-number:]
    between = (steady[0].start_us, steady[-1].end_us) if steady else (0, 0)
    cycles = room.queries.cycles(machine, *between)
    return run_off(cycles, (program, part), number, limit_us, target)


def run_off_row(room: Room, machine: str, made: tuple[str, str] | None, found: RunOff, now_us: int) -> RunOffRow:
    """A run-off as sent."""
    sample, wait, span = found.sample, found.longest_wait, found.span_us
    index_low, index_high = found.index_interval or (None, None)
    over_low, over_high = found.over_interval or (None, None)
    known = steps_known(room.plant.nodes_of(room.machine(machine)))
    start, end = span or (None, None)
    return RunOffRow(
        **{"from": show_or_none(start, room.zone), "to": show_or_none(end, room.zone)},
        ruling=found.ruling,
        words=in_words(found),
        cautions=cautions(found),
        machine=machine,
        program=made[0] if made else None,
        part=made[1] if made else None,
        coverage_pct=percent(Assembly(room, span, now_us).coverage([machine])) if span else None,
        asked=found.asked,
        count=sample.count,
        held=sample.held,
        unobserved=sample.unobserved,
        aborted=sample.aborted,
        partial=sample.partial,
        other=found.other,
        limit_s=found.limit_s,
        mean_s=sample.mean_s,
        median_s=sample.median_s,
        minimum_s=min(sample.values_s, default=None),
        maximum_s=max(sample.values_s, default=None),
        deviation_s=sample.deviation_s,
        target=found.target,
        index=found.index,
        index_low=index_low,
        index_high=index_high,
        index_within=found.index_within,
        over_count=found.over,
        over_low_pct=percent(over_low),
        over_high_pct=percent(over_high),
        beyond_count=len(found.chart.beyond),
        autocorrelation=sample.autocorrelation,
        cutting_pct=percent(found.cutting.value) if CUTTING in known else None,
        parts=found.parts,
        parts_per_hour=found.parts_per_hour,
        parts_per_hour_running=found.parts_per_hour_running,
        longest_wait_s=seconds(wait.length_us) if wait else None,
        longest_wait_at=show(wait.start_us, room.zone) if wait else None,
    )
