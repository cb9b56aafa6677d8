"""/cycle-trends: level, spread, limits and runs of cycle times, per machine, program and part."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.facts import Cycle
from swarfline.measure.runs import RULES
from swarfline.measure.trend import Trend, by_program, cycle_trend
from swarfline.serve.assemble import Assembly
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, Shape
from swarfline.serve.slices import slices
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show

router = APIRouter(tags=["figures"])

NEWEST_BEYOND, NEWEST_SIGNALS = 50, 10
"""How many points are sent: of those beyond limits, and of each run rule."""

ByTime = Literal["day", "week", "month"]

TimeGrouped = Annotated[
    ByTime | None,
    Query(
        description="one row for each piece of time, with limits of its own; a cycle belongs to the piece in "
        "which it starts, and one that was running at the span's start to the first"
    ),
]

ProgramName = Annotated[str | None, Query(description="only this main program")]


class BeyondShape(Shape):
    """One cycle of the chart of single cycles."""

    start: str
    cycle_time_s: float


class SmoothedShape(Shape):
    """A smoothed cycle time beyond its own limits."""

    start: str
    ewma_s: float
    lcl_s: float
    ucl_s: float


class SignalShape(Shape):
    """A run rule that speaks."""

    rule: int
    says: str
    count: int = Field(description="points at which it speaks")
    newest: list[BeyondShape] = Field(description="the newest 10 of them")


class TrendRow(Shape):
    """The trend of one machine, program and part; null where too few cycles tell."""

    key: str = Field(description="the day, week or month; empty: the whole span")
    from_: str = Field(alias="from")
    to: str
    machine: str
    program: str
    part: str
    count: int = Field(description="steady cycles: complete, without holds, wholly in sight")
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
    smoothed_beyond_count: int
    smoothed_beyond: list[SmoothedShape] = Field(description="the newest 50 smoothed times beyond their limits")
    autocorrelation: float | None = Field(description="tie to the cycle before, -1 to 1")
    signals: list[SignalShape] = Field(
        description="run rules that speak; with a high autocorrelation many are no news"
    )


@router.get("/cycle-trends", response_model=Figures[TrendRow], responses=OPENAPI)
def list_trends(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    by: TimeGrouped = None,
    machine: MachineName = None,
    cell: CellName = None,
    program: ProgramName = None,
) -> Any:
    """Trends of the span, or of each piece of it."""
    work = Assembly(room, asked.interval, asked.now_us)
    chosen = room.machines(machine, cell)
    cycles = [c for m in chosen for c in work.cycles(m.id) if program in (None, c.program)]
    pieces = [(s.key, s.span) for s in slices(work, by, chosen)] if by else [("", work.span)]
    rows = [
        trend_row(room, group[0], piece, cycle_trend(inside))
        for group in by_program(cycles).values()
        for piece, inside in zip(pieces, parted(group, [span for _, span in pieces]), strict=True)
        if inside
    ]
    return reply.figures(room, asked, work.coverage([m.id for m in chosen]), TrendRow, rows)


def parted(cycles: Sequence[Cycle], spans: Sequence[Interval]) -> list[list[Cycle]]:
    """Cycles by the piece of time in which they start; those begun earlier belong to the first."""
    return [
        [c for c in cycles if (n == 0 or start <= c.start_us) and c.start_us < end]
        for n, (start, end) in enumerate(spans)
    ]


def trend_row(room: Room, one: Cycle, piece: tuple[str, Interval], trend: Trend) -> TrendRow:
    """A trend as sent; ``one`` is any cycle of its machine, program and part."""
    key, (start_us, end_us) = piece
    chart, plan = trend.chart, room.plans.get(one.part)
    lcl, ucl = chart.limits or (None, None)
    return TrendRow(
        key=key,
        **{"from": show(start_us, room.zone), "to": show(end_us, room.zone)},
        machine=one.machine,
        program=one.program,
        part=one.part,
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
        beyond=_points(room, trend, chart.beyond[-NEWEST_BEYOND:]),
        smoothed_beyond_count=len(trend.smoothed_beyond),
        smoothed_beyond=[_smoothed(room, trend, i) for i in trend.smoothed_beyond[-NEWEST_BEYOND:]],
        autocorrelation=trend.autocorrelation,
        signals=_signals(room, trend),
    )


def _points(room: Room, trend: Trend, places: Sequence[int]) -> list[BeyondShape]:
    return [BeyondShape(start=show(trend.starts_us[i], room.zone), cycle_time_s=trend.values_s[i]) for i in places]


def _smoothed(room: Room, trend: Trend, place: int) -> SmoothedShape:
    lcl, ucl = trend.smoothed_limits_s[place]
    start = show(trend.starts_us[place], room.zone)
    return SmoothedShape(start=start, ewma_s=trend.smoothed_s[place], lcl_s=lcl, ucl_s=ucl)


def _signals(room: Room, trend: Trend) -> list[SignalShape]:
    places: dict[int, list[int]] = {}
    for signal in trend.signals:
        places.setdefault(signal.rule, []).append(signal.place)
    return [
        SignalShape(
            rule=rule,
            says=RULES[rule],
            count=len(found),
            newest=_points(room, trend, found[-NEWEST_SIGNALS:]),
        )
        for rule, found in sorted(places.items())
    ]
