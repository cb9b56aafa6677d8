"""/tool-loads: the spindle load of the tools in the machines now, over their lives."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import Field

from swarfline.outlook import PresentLoads, present_loads
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Listing, Shape, percent
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show

router = APIRouter(tags=["tools"])


class LoadRow(Shape):
    """One tool and program; null is: cannot be told."""

    machine: str
    pot: str
    tool: str
    name: str
    program: str
    start: str = Field(description="of the present life")
    share_used_pct: float | None
    cycles: int = Field(description="complete cycles with a load that were looked at; see every")
    every: int = Field(description="1: all cycles of the life; n: each n-th")
    load_mean_pct: float | None = Field(description="while cutting, median of the newest tenth of the cycles")
    load_peak_pct: float | None
    expected_mean_pct: float | None = Field(description="the baseline at this share of life")
    expected_peak_pct: float | None
    baseline: Literal["earlier_lives", "first_tenth", "none"]
    earlier_lives: int = Field(description="with loads of this program, whether or not they are the baseline")
    rise_pct: float | None = Field(description="mean load ÷ expected − 1")
    peak_rise_pct: float | None
    slope_pct: float | None = Field(description="growth of load ÷ baseline per whole life")
    growth_pct: float | None = Field(description="the same over the part of the life that was seen")
    chance: float | None = Field(description="of such a rise without a trend, 0 to 1")
    sign: Literal["rising", "steady", "unknown"]


class Loads(Listing[LoadRow]):
    """Loads as of the plant's present."""

    at: str
    time_zone: str


@router.get("/tool-loads", response_model=Loads, responses=OPENAPI)
def list_loads(room: InRoom, reply: Replying, machine: MachineName = None, cell: CellName = None) -> Any:
    """Spindle load of each tool and program over the tool's present life."""
    now_us = room.now_us()
    rows = [row for m in room.machines(machine, cell) for row in _rows(room, m.id, now_us)]
    return reply.listing(LoadRow, rows, at=show(now_us, room.zone), time_zone=str(room.zone))


def _rows(room: Room, machine: str, now_us: int) -> Iterator[LoadRow]:
    return (_row(room, found) for found in present_loads(room.queries, machine, now_us))


def _row(room: Room, found: PresentLoads) -> LoadRow:
    life, trend = found.life, found.trend
    now, expected = trend.now, trend.expected
    return LoadRow(
        machine=life.machine,
        pot=life.pot or life.pot_key,
        tool=life.tool,
        name=life.name,
        program=found.program,
        start=show(life.start_us, room.zone),
        share_used_pct=percent(life.used / found.whole),
        cycles=trend.cycles,
        every=found.every,
        load_mean_pct=now.mean if now else None,
        load_peak_pct=now.peak if now else None,
        expected_mean_pct=expected.mean if expected else None,
        expected_peak_pct=expected.peak if expected else None,
        baseline=trend.baseline,  # type: ignore[arg-type]
        earlier_lives=trend.earlier_lives,
        rise_pct=percent(trend.rise),
        peak_rise_pct=percent(trend.peak_rise),
        slope_pct=percent(trend.slope),
        growth_pct=percent(trend.growth),
        chance=trend.chance,
        sign=trend.sign,  # type: ignore[arg-type]
    )
