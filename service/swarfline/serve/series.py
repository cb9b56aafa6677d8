"""/machines/{id}/cycles/series: cycle times in columns, thinned for a chart without losing an extreme."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.facts import Cycle
from swarfline.measure.trend import cycle_trend
from swarfline.serve.room import InRoom, OneMachine
from swarfline.serve.shapes import SpanShape, span_fields
from swarfline.serve.spans import AskedSpan
from swarfline.serve.times import seconds

router = APIRouter(prefix="/machines/{machine_id}", tags=["figures"])

PER_SLOT = 4


class SeriesShape(SpanShape):
    """Cycle times of one program and part. ``t_s`` are Unix seconds, ``y_s`` cycle times of as many points."""

    machine: str
    program: str | None = Field(description="null: no cycle in the span")
    part: str | None
    count: int = Field(description="cycles that the limits are taken from, before thinning")
    left_out: int = Field(description="cycles that did not enter: not complete, or held")
    t_s: list[float]
    y_s: list[float]
    median_s: float | None
    centre_s: float | None
    lcl_s: float | None
    ucl_s: float | None


Program = Annotated[str | None, Query(description="main program; by default that of the newest cycle")]
PartName = Annotated[str | None, Query(description="part; by default that of the newest cycle of the program")]
Buckets = Annotated[int, Query(ge=10, le=4000, description="slots; a chart asks for its width in pixels")]


@router.get("/cycles/series")
def read_series(
    machine: OneMachine,
    room: InRoom,
    asked: AskedSpan,
    program: Program = None,
    part: PartName = None,
    buckets: Buckets = 600,
) -> SeriesShape:
    """Steady cycles of the span. Up to 4 × buckets points are sent as they are, else up to 4 of each slot."""
    known = room.queries.facts(Cycle, machine.id, *asked.interval)
    chosen = choose(known, program, part)
    trend = cycle_trend(chosen)
    kept = thin(trend.starts_us, trend.values_s, asked.interval, buckets)
    limits = trend.chart.limits or (None, None)
    return SeriesShape(
        **span_fields(room, asked),
        machine=machine.id,
        program=chosen[-1].program if chosen else None,
        part=chosen[-1].part if chosen else None,
        count=trend.count,
        left_out=trend.left_out,
        t_s=[seconds(trend.starts_us[i]) for i in kept],
        y_s=[trend.values_s[i] for i in kept],
        median_s=trend.median_s,
        centre_s=trend.mean_s,
        lcl_s=limits[0],
        ucl_s=limits[1],
    )


def choose(cycles: Sequence[Cycle], program: str | None, part: str | None) -> list[Cycle]:
    """The cycles of one program and part, by default those of the newest cycle that fits."""
    fitting = [c for c in cycles if program in (None, c.program) and part in (None, c.part)]
    if not fitting:
        return []
    newest = fitting[-1]
    return [c for c in fitting if (c.program, c.part) == (newest.program, newest.part)]


def thin(times_us: Sequence[int], values: Sequence[float], span: tuple[int, int], buckets: int) -> list[int]:
    """Places of the points to send: all, or the first, lowest, highest and last of each slot of time."""
    if len(values) <= PER_SLOT * buckets:
        return list(range(len(values)))
    width = max(1, span[1] - span[0])
    slots: dict[int, list[int]] = {}
    for place, at in enumerate(times_us):
        slots.setdefault((at - span[0]) * buckets // width, []).append(place)
    kept: set[int] = set()
    for places in slots.values():
        kept |= {places[0], places[-1], min(places, key=values.__getitem__), max(places, key=values.__getitem__)}
    return sorted(kept)
