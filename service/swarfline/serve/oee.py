"""/oee: overall equipment effectiveness and its factors, as sums over sums."""

from __future__ import annotations

from functools import reduce
from operator import add
from typing import Any

from fastapi import APIRouter
from pydantic import Field

from swarfline.measure.oee import OeeSums, oee
from swarfline.serve.assemble import Assembly
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, FigureShape, Shape, figure, percent
from swarfline.serve.slices import BY_DAYS, Grouped, Slice, SliceShape, slice_fields, slices
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.tallied import Tallied
from swarfline.serve.times import seconds

router = APIRouter(tags=["figures"])


class OeeFigures(Shape):
    """OEE and its three factors; their product is the OEE, exactly."""

    availability: FigureShape
    effectiveness: FigureShape
    quality_ratio: FigureShape
    oee: FigureShape


class TimeSums(Shape):
    """The times behind it."""

    planned_time_s: float
    unobserved_time_s: float
    planned_busy_time_s: float
    actual_production_time_s: float
    producing_outside_time_s: float


class PartSums(Shape):
    """The parts behind it; those counted across gaps do not enter the ratios."""

    produced: int
    good: int
    scrap: int
    unjudged: int
    across_gap: int
    rework: int = Field(description="entered as rework; counted apart")


class OeeRow(SliceShape):
    """One machine, cell, part, shift, day, …"""

    coverage_pct: float | None
    figures: OeeFigures
    times: TimeSums
    parts: PartSums


@router.get("/oee", response_model=Figures[OeeRow], responses=OPENAPI)
def list_oee(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    by: Grouped = "machine",
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """OEE of the span. Groups are the sums of their machines and pieces, never means of ratios."""
    assembly = Tallied if by in BY_DAYS else Assembly
    work = assembly(room, asked.interval, asked.now_us)
    chosen = room.machines(machine, cell)
    rows = [oee_row(work, piece) for piece in slices(work, by, chosen)]
    return reply.figures(room, asked, work.coverage([m.id for m in chosen]), OeeRow, rows)


def sums_of(work: Assembly, piece: Slice) -> OeeSums:
    """The added sums of a slice."""
    return reduce(add, (work.oee_sums(p.machine, p.spans, p.part) for p in piece.pieces), OeeSums())


def oee_figures(sums: OeeSums) -> OeeFigures:
    """OEE and factors as sent; the terms are seconds, where they are not parts."""
    found = oee(sums)
    by_count = bool(sums.unplanned)
    timed = {name: figure(f, "s", 1_000_000) for name, f in found.items() if not (by_count and _counts(name))}
    counted = {name: figure(f) for name, f in found.items() if by_count and _counts(name)}
    return OeeFigures(**timed, **counted)


def _counts(name: str) -> bool:
    return name == "quality_ratio"


def oee_row(work: Assembly, piece: Slice) -> OeeRow:
    """One slice as sent."""
    sums = sums_of(work, piece)
    return OeeRow(
        **slice_fields(work, piece),
        coverage_pct=percent(sums.coverage),
        figures=oee_figures(sums),
        times=TimeSums(
            planned_time_s=seconds(sums.planned_us),
            unobserved_time_s=seconds(sums.planned_us - sums.observed_us),
            planned_busy_time_s=seconds(sums.planned_busy_us),
            actual_production_time_s=seconds(sums.production_us),
            producing_outside_time_s=seconds(sums.producing_outside_us),
        ),
        parts=part_sums(sums),
    )


def is_known(row: OeeRow) -> bool:
    """Whether anything is known of a row's span: where nobody watched, no part is not zero parts."""
    return row.coverage_pct != 0 or bool(row.times.planned_busy_time_s or row.parts.produced)


def part_sums(sums: OeeSums) -> PartSums:
    """Parts as sent."""
    return PartSums(
        produced=sums.produced,
        good=sums.good,
        scrap=sums.scrap,
        unjudged=sums.unjudged,
        across_gap=sums.across_gap,
        rework=sums.rework,
    )
