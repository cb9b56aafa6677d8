"""/kpis: the KPIs of ISO 22400-2 that the signals allow, as sums over sums."""

from __future__ import annotations

from functools import reduce
from operator import add
from typing import Any

from fastapi import APIRouter

from swarfline.measure.kpis import KpiSums, kpis
from swarfline.serve.assemble import Assembly
from swarfline.serve.oee import OeeFigures, PartSums, oee_figures, part_sums
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, FigureShape, Shape, figure, percent
from swarfline.serve.slices import Grouped, Slice, SliceShape, slice_fields, slices
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds

router = APIRouter(tags=["figures"])


class KpiFigures(OeeFigures):
    """OEE, its factors, and every other KPI; null with a hint: it cannot be told."""

    net_equipment_effectiveness: FigureShape
    utilization_efficiency: FigureShape
    allocation_efficiency: FigureShape
    technical_efficiency: FigureShape
    setup_ratio: FigureShape
    parts_per_busy_hour: FigureShape
    scrap_ratio: FigureShape
    mean_time_between_long_stops: FigureShape
    mean_time_between_failures: FigureShape
    mean_time_to_restore: FigureShape
    energy_per_part: FigureShape
    energy_per_good_part: FigureShape


class ElementSums(Shape):
    """The time elements behind it."""

    planned_time_s: float
    unobserved_time_s: float
    planned_busy_time_s: float
    actual_production_time_s: float
    producing_outside_time_s: float
    actual_setup_time_s: float
    actual_delay_time_s: float
    actual_down_time_s: float


class KpiRow(SliceShape):
    """One machine, cell, part, shift, day, …"""

    coverage_pct: float | None
    figures: KpiFigures
    times: ElementSums
    parts: PartSums


TERMS = {
    "parts_per_busy_hour": "1, h",
    "scrap_ratio": "1",
    "mean_time_between_long_stops": "s, 1",
    "mean_time_between_failures": "s, 1",
    "mean_time_to_restore": "s, 1",
    "energy_per_part": "kWh, 1",
    "energy_per_good_part": "kWh, 1",
}
"""Units of numerator and denominator, where they are not times."""


@router.get("/kpis", response_model=Figures[KpiRow], responses=OPENAPI)
def list_kpis(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    by: Grouped = "machine",
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """KPIs of ISO 22400-2 of the span. Those that no machine here can tell are listed in `/definitions`."""
    work = Assembly(room, asked.interval, asked.now_us)
    chosen = room.machines(machine, cell)
    rows = [kpi_row(work, piece) for piece in slices(work, by, chosen)]
    return reply.figures(room, asked, work.coverage([m.id for m in chosen]), KpiRow, rows)


def kpi_row(work: Assembly, piece: Slice) -> KpiRow:
    """One slice as sent."""
    sums = reduce(add, (work.kpi_sums(p.machine, p.spans, p.part) for p in piece.pieces), KpiSums())
    return KpiRow(
        **slice_fields(work, piece),
        coverage_pct=percent(sums.oee.coverage),
        figures=_figures(sums),
        times=_times(sums),
        parts=part_sums(sums.oee),
    )


def _figures(sums: KpiSums) -> KpiFigures:
    index = oee_figures(sums.oee)
    other = {name: f for name, f in kpis(sums).items() if name not in OeeFigures.model_fields}
    told = {n: figure(f, TERMS[n]) if n in TERMS else figure(f, "s", 1_000_000) for n, f in other.items()}
    return KpiFigures(**{name: getattr(index, name) for name in OeeFigures.model_fields}, **told)


def _times(sums: KpiSums) -> ElementSums:
    elements = sums.elements
    return ElementSums(
        planned_time_s=seconds(elements.planned_us),
        unobserved_time_s=seconds(elements.unobserved_us),
        planned_busy_time_s=seconds(elements.planned_busy_us),
        actual_production_time_s=seconds(elements.production_us),
        producing_outside_time_s=seconds(elements.producing_outside_us),
        actual_setup_time_s=seconds(elements.setup_us),
        actual_delay_time_s=seconds(elements.delay_us),
        actual_down_time_s=seconds(elements.down_us),
    )
