"""/level-steps: when cycle times changed their level, by how much, how sure that is, and what accounts for it."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.facts import Cycle
from swarfline.grounds import steps_known
from swarfline.measure.attribution import LevelStep, ToolShare, level_steps
from swarfline.measure.trend import by_program
from swarfline.serve.assemble import Assembly
from swarfline.serve.cycles import StepsShape
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, Shape
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show
from swarfline.serve.trends import ProgramName

router = APIRouter(tags=["figures"])

MICRO = Fraction(1, 1_000_000)

LeastPct = Annotated[
    float, Query(ge=0, le=1000, description="steps smaller than this, in % of the level before, are left out")
]


class ToolShareShape(Shape):
    """What one tool adds to the size: the difference of its mean time per cycle."""

    tool: str
    difference_s: float = Field(description="of all of its time in the spindle")
    cutting_s: float | None = Field(description="of its cutting; null where cutting cannot be told")
    other_s: float | None = Field(description="of the rest of its time in the spindle")


class LevelStepRow(Shape):
    """The cycle time of one machine, program and part changed its level."""

    machine: str
    program: str
    part: str
    at: str = Field(description="start of the first cycle of the new level")
    last_before: str = Field(description="start of the last cycle of the level before")
    since: str = Field(description="start of the first cycle of the level before")
    until: str = Field(description="start of the last cycle of the new level")
    cycles_before: int
    cycles_after: int
    before_s: float = Field(description="level: mean cycle time without the shortest and the longest tenth")
    after_s: float
    size_s: float = Field(description="after less before")
    size_pct: float = Field(description="of the level before")
    low_s: float = Field(description="95 % interval of the size")
    high_s: float
    p: float = Field(description="probability that chance alone makes one as clear; 0: too small to write")
    tie: float = Field(description="correlation between neighbours that interval and p allow for, 0 to 1")
    steps: StepsShape = Field(description="shares of the size by step of the cycle; they sum to it")
    tools: list[ToolShareShape] = Field(description="shares of the size by tool, largest first")
    no_tool_s: float = Field(description="share of time without a known tool; with the tools it sums to the size")


@router.get("/level-steps", response_model=Figures[LevelStepRow], responses=OPENAPI)
def list_level_steps(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
    program: ProgramName = None,
    least_pct: LeastPct = 0.5,
) -> Any:
    """Level steps of the span. A level lasts at least 10 cycles, so ask for a span of some days."""
    work = Assembly(room, asked.interval, asked.now_us)
    chosen = [m.id for m in room.machines(machine, cell)]
    cycles = [c for m in chosen for c in work.cycles(m) if program in (None, c.program)]
    rows = [
        level_step_row(room, group[0], step)
        for group in by_program(cycles).values()
        for step in level_steps(group, least_pct / 100)
    ]
    return reply.figures(room, asked, work.coverage(chosen), LevelStepRow, rows)


def level_step_row(room: Room, one: Cycle, step: LevelStep) -> LevelStepRow:
    """A level step as sent; ``one`` is any cycle of its machine, program and part."""
    known = steps_known(room.plant.nodes_of(room.plant.machine(one.machine)))
    return LevelStepRow(
        machine=one.machine,
        program=one.program,
        part=one.part,
        at=show(step.at_us, room.zone),
        last_before=show(step.last_us, room.zone),
        since=show(step.since_us, room.zone),
        until=show(step.until_us, room.zone),
        cycles_before=step.cycles_before,
        cycles_after=step.cycles_after,
        before_s=_s(step.before_us),
        after_s=_s(step.after_us),
        size_s=_s(step.size_us),
        size_pct=float(100 * step.size_us / step.before_us),
        low_s=step.low_us / 1_000_000,
        high_s=step.high_us / 1_000_000,
        p=step.split.p,
        tie=step.split.tie,
        steps=StepsShape(
            **{f"{name}_s": _s(us) if name in known else None for name, us in step.shares.step_us.items()}
        ),
        tools=[_tool(share, "cutting" in known) for share in step.shares.tools],
        no_tool_s=_s(step.shares.no_tool_us),
    )


def _tool(share: ToolShare, cutting: bool) -> ToolShareShape:
    return ToolShareShape(
        tool=share.tool,
        difference_s=_s(share.both_us),
        cutting_s=_s(share.cutting_us) if cutting else None,
        other_s=_s(share.other_us) if cutting else None,
    )


def _s(us: Fraction) -> float:
    return float(us * MICRO)
