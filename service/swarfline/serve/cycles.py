"""/machines/{id}/cycles and /counts: what was made, cycle by cycle and part by part."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.facts import STEPS, Count, Cycle, ToolUse
from swarfline.grounds import steps_known
from swarfline.measure.energy import JOULES_PER_KWH
from swarfline.serve.paging import Paged
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.shapes import Facts, Shape
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show

router = APIRouter(prefix="/machines/{machine_id}", tags=["facts"])


class StepsShape(Shape):
    """Seconds of a cycle by step; null for a step that this machine's signals cannot tell."""

    cutting_s: float | None
    tool_change_s: float | None
    positioning_s: float | None
    other_s: float | None
    held_s: float | None


class ToolUseShape(Shape):
    """One tool's share of a cycle, in order of first use."""

    tool: str
    in_spindle_s: float
    cutting_s: float | None = Field(description="null where cutting cannot be told")
    load_mean_pct: float | None
    load_peak_pct: float | None
    life_used: float | None = Field(description="in the life's basis: 1, s or m")


class StripPieceShape(Shape):
    """One piece of a cycle's strip; it lasts to the next piece."""

    offset_s: float
    step: str
    tool: str


class CycleRow(Shape):
    """One cycle."""

    machine: str
    start: str
    end: str
    duration_s: float
    outcome: str
    program: str
    part: str
    lot: str
    parts: int
    steps: StepsShape
    unobserved_s: float = Field(description="out of sight; it is in the step other, and its tools are not known")
    energy_kwh: float | None
    tools: list[ToolUseShape]
    strip: list[StripPieceShape] | None = Field(default=None, description="only with detail=strip")
    open: bool


class CountRow(Shape):
    """Parts counted at one moment."""

    machine: str
    time: str
    count_kind: str
    quantity: int
    part: str
    lot: str
    across_gap: bool = Field(description="made while the machine was not observed")


Detail = Annotated[Literal["strip"] | None, Query(description="strip: send the pieces of each cycle too")]


@router.get("/cycles", response_model=Facts[CycleRow], responses=OPENAPI)
def list_cycles(
    machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying, detail: Detail = None
) -> Any:
    """Cycles that overlap the span, whole."""
    found, last = window.take(lambda n, after: room.queries.facts(Cycle, machine.id, *asked.interval, n, after))
    known = steps_known(room.plant.nodes_of(machine))
    rows = [cycle_row(room, cycle, known, detail == "strip") for cycle in found]
    return reply.facts(room, asked, window, CycleRow, rows, last)


def cycle_row(room: Room, cycle: Cycle, known: list[str], strip: bool) -> CycleRow:
    """A cycle as sent; ``known`` are the steps that can be told."""
    return CycleRow(
        machine=cycle.machine,
        start=show(cycle.start_us, room.zone),
        end=show(cycle.end_us, room.zone),
        duration_s=seconds(cycle.duration_us),
        outcome=cycle.outcome,
        program=cycle.program,
        part=cycle.part,
        lot=cycle.lot,
        parts=cycle.parts,
        steps=StepsShape(
            **{
                f"{step}_s": seconds(us) if step in known else None
                for step, us in zip(STEPS, cycle.step_us, strict=True)
            }
        ),
        unobserved_s=seconds(cycle.unobserved_us),
        energy_kwh=None if cycle.energy_j is None else cycle.energy_j / JOULES_PER_KWH,
        tools=[_tool(use, "cutting" in known) for use in cycle.tools],
        strip=_strip(cycle) if strip else None,
        open=cycle.open,
    )


def _tool(use: ToolUse, cutting: bool) -> ToolUseShape:
    return ToolUseShape(
        tool=use.tool,
        in_spindle_s=seconds(use.in_spindle_us),
        cutting_s=seconds(use.cutting_us) if cutting else None,
        load_mean_pct=use.load_mean,
        load_peak_pct=use.load_peak,
        life_used=use.life_used,
    )


def _strip(cycle: Cycle) -> list[StripPieceShape]:
    return [StripPieceShape(offset_s=seconds(p.offset_us), step=p.step, tool=p.tool) for p in cycle.strip]


@router.get("/counts", response_model=Facts[CountRow], responses=OPENAPI)
def list_counts(machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying) -> Any:
    """Parts counted in the span."""
    found, last = window.take(lambda n, after: room.queries.facts(Count, machine.id, *asked.interval, n, after))
    rows = [
        CountRow(
            machine=c.machine,
            time=show(c.time_us, room.zone),
            count_kind=c.count_kind,
            quantity=c.quantity,
            part=c.part,
            lot=c.lot,
            across_gap=c.across_gap,
        )
        for c in found
    ]
    return reply.facts(room, asked, window, CountRow, rows, last)
