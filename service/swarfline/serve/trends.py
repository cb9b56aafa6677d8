"""/cycle-trends: level, spread and limits of cycle times, per machine, program and part."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.measure.trend import Trend
from swarfline.serve.assemble import Assembly
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.series import trends
from swarfline.serve.shapes import Figures, Shape
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show

router = APIRouter(tags=["figures"])


class BeyondShape(Shape):
    """A cycle beyond the limits of single cycles."""

    start: str
    cycle_time_s: float


class TrendRow(Shape):
    """The trend of one machine, program and part; null where too few cycles tell."""

    machine: str
    program: str
    part: str
    count: int = Field(description="steady cycles: complete, without holds")
    left_out: int = Field(description="the other cycles")
    planned_cycle_time_s: float | None
    median_s: float | None
    mean_s: float | None
    p10_s: float | None
    p90_s: float | None
    minimum_s: float | None
    deviation_s: float | None
    centre_s: float | None
    lcl_s: float | None
    ucl_s: float | None
    moving_range_mean_s: float | None
    moving_range_ucl_s: float | None
    beyond_count: int
    beyond: list[BeyondShape] = Field(description="the newest 50 points strictly beyond the limits")


@router.get("/cycle-trends", response_model=Figures[TrendRow], responses=OPENAPI)
def list_trends(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
    program: Annotated[str | None, Query(description="only this main program")] = None,
) -> Any:
    """Trends of the span."""
    work = Assembly(room, asked.interval, asked.now_us)
    chosen = [m.id for m in room.machines(machine, cell)]
    cycles = [c for m in chosen for c in work.cycles(m) if program in (None, c.program)]
    rows = [trend_row(room, key, trend) for key, trend in trends(cycles).items()]
    return reply.figures(room, asked, work.coverage(chosen), TrendRow, rows)


def trend_row(room: Room, key: tuple[str, str, str], trend: Trend) -> TrendRow:
    """A trend as sent."""
    machine, program, part = key
    chart, plan = trend.chart, room.plans.get(part)
    lcl, ucl = chart.limits or (None, None)
    return TrendRow(
        machine=machine,
        program=program,
        part=part,
        count=trend.count,
        left_out=trend.left_out,
        planned_cycle_time_s=seconds(plan.planned_cycle_us) if plan else None,
        median_s=trend.median_s,
        mean_s=trend.mean_s,
        p10_s=trend.p10_s,
        p90_s=trend.p90_s,
        minimum_s=trend.minimum_s,
        deviation_s=trend.deviation_s,
        centre_s=chart.centre,
        lcl_s=lcl,
        ucl_s=ucl,
        moving_range_mean_s=chart.range_mean,
        moving_range_ucl_s=chart.range_limit,
        beyond_count=len(chart.beyond),
        beyond=[
            BeyondShape(start=show(trend.starts_us[i], room.zone), cycle_time_s=trend.values_s[i])
            for i in chart.beyond[-50:]
        ],
    )
