"""/energy-demand and /energy-per-cycle: mean power by the quarter of an hour, and what a cycle takes."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.measure.energy import Demand, demand
from swarfline.measure.energy_use import CycleEnergy, PerCycle, per_cycle
from swarfline.sentence import N_
from swarfline.serve.assemble import Assembly
from swarfline.serve.energy import energy_machines
from swarfline.serve.problems import wrong
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, FigureShape, Shape, figure
from swarfline.serve.slices import Slice, slices
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show

router = APIRouter(tags=["energy"])

LONGEST_US = 62 * 86_400_000_000

Together = Annotated[
    Literal["plant", "cell", "machine"], Query(description="whose power: all together, by cell or by machine")
]


class DemandRow(Shape):
    """Mean power of one quarter of an hour."""

    key: str
    name: str
    start: str
    demand_kw: float | None = Field(description="null: nothing is known")
    coverage_pct: float = Field(description="below 100 the power is a lower bound")


class PerCycleRow(Shape):
    """Energy of the complete cycles of one machine, program and part."""

    machine: str
    program: str
    part: str
    cycles: int = Field(description="whose energy is known")
    left_out: int = Field(description="whose energy is not")
    median_kwh: float | None
    p10_kwh: float | None
    p90_kwh: float | None
    energy_per_cycle_part: FigureShape


@router.get("/energy-demand", response_model=Figures[DemandRow], responses=OPENAPI)
def list_demand(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    by: Together = "plant",
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """Demand of every quarter of an hour (UTC) that begins in the span, of at most 62 days."""
    if asked.end_us - asked.start_us > LONGEST_US:
        raise wrong("from", N_("the span is longer than 62 days"), N_("a span of at most 62 days"))
    work = Assembly(room, asked.interval, asked.now_us)
    telling = energy_machines(room, room.machines(machine, cell))
    rows = [_demand_row(work, piece, d) for piece in slices(work, by, telling) for d in _series(work, piece)]
    return reply.figures(room, asked, work.energy_coverage([m.id for m in telling]), DemandRow, rows)


def _series(work: Assembly, piece: Slice) -> list[Demand]:
    pieces = [e for m in piece.machines for e in work.energies(m, piece.span)]
    return demand(pieces, piece.span, len(piece.machines))


def _demand_row(work: Assembly, piece: Slice, found: Demand) -> DemandRow:
    return DemandRow(
        key=piece.key,
        name=piece.name,
        start=show(found.start_us, work.room.zone),
        demand_kw=None if found.mean_w is None else found.mean_w / 1000,
        coverage_pct=float(found.coverage * 100),
    )


@router.get("/energy-per-cycle", response_model=Figures[PerCycleRow], responses=OPENAPI)
def list_per_cycle(
    room: InRoom, asked: AskedSpan, reply: Replying, machine: MachineName = None, cell: CellName = None
) -> Any:
    """Energy of complete cycles that began in the span, by machine, program and part."""
    work = Assembly(room, asked.interval, asked.now_us)
    telling = [m.id for m in energy_machines(room, room.machines(machine, cell))]
    rows = [row for m in telling for row in per_cycle_rows(work, m)]
    return reply.figures(room, asked, work.energy_coverage(telling), PerCycleRow, rows)


def per_cycle_rows(work: Assembly, machine: str) -> list[PerCycleRow]:
    """Energy of the cycles of one machine that began in the span, by program and part."""
    cycles = [CycleEnergy(*row) for row in work.room.queries.cycle_energies(machine, *work.span)]
    return [_cycle_row(machine, found) for found in per_cycle(cycles)]


def _cycle_row(machine: str, found: PerCycle) -> PerCycleRow:
    return PerCycleRow(
        machine=machine,
        program=found.program,
        part=found.part,
        cycles=found.cycles,
        left_out=found.left_out,
        median_kwh=found.median_kwh,
        p10_kwh=found.p10_kwh,
        p90_kwh=found.p90_kwh,
        energy_per_cycle_part=figure(found.per_part, "kWh, 1"),
    )
