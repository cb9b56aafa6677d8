"""/tool-loads: the spindle load of the tools in the machines now, over their lives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import Field

from swarfline.facts import ToolLife
from swarfline.measure.loads import Load, LoadTrend, earlier_lives, life_loads, load_trend, whole_life
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Listing, Shape, percent
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show

router = APIRouter(tags=["tools"])

LOOK_BACK_US = 400 * 86_400_000_000
"""Lives that began earlier are seen from then on."""

MOST_CYCLES = 20_000
"""Cycles of a machine read for one answer; of more, each n-th."""

MOST_OF_LIFE = 1_000
"""Cycles of one life looked at; of more, each n-th."""


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


@dataclass(frozen=True, slots=True)
class PresentLoads:
    """The loads of one tool and program over the tool's present life, each ``every``-th cycle's; ``before`` those
    of earlier lives."""

    life: ToolLife
    program: str
    loads: list[Load]
    before: list[list[Load]]
    every: int
    whole: float

    @property
    def trend(self) -> LoadTrend:
        """Whether the load rises."""
        return load_trend(self.loads, self.before)


def present_loads(room: Room, machine: str, now_us: int) -> Iterator[PresentLoads]:
    """Loads of every tool in the machine now whose life can be told as a share, by program."""
    since_us = now_us - LOOK_BACK_US
    lives = room.queries.facts(ToolLife, machine, since_us, now_us)
    present = [(life, earlier_lives(life, lives)) for life in room.queries.open_tool_lives(machine)]
    if not present:
        return
    begun_us = min(n.start_us for life, earlier in present for n in (life, *earlier))
    cycles = room.queries.cycle_tools(machine, max(since_us, begun_us), now_us, MOST_CYCLES)

    def loads_of(life: ToolLife, whole: float) -> tuple[int, dict[str, list[Load]]]:
        every, uses = cycles.of(life.tool, life.start_us, life.end_us, MOST_OF_LIFE)
        return every, life_loads(life, uses, whole, every)

    for life, earlier in present:
        whole = whole_life(life, earlier)
        if whole is None:
            continue
        before = [loads_of(one, one.limit or whole)[1] for one in earlier]
        every, now = loads_of(life, whole)
        for program, loads in sorted(now.items()):
            yield PresentLoads(life, program, loads, [one.get(program, []) for one in before], every, whole)


def _rows(room: Room, machine: str, now_us: int) -> Iterator[LoadRow]:
    for found in present_loads(room, machine, now_us):
        life = found.life
        yield _row(room, life, found.program, found.trend, found.every, life.used / found.whole)


def _row(room: Room, life: ToolLife, program: str, trend: LoadTrend, every: int, share: float) -> LoadRow:
    now, expected = trend.now, trend.expected
    return LoadRow(
        machine=life.machine,
        pot=life.pot or life.pot_key,
        tool=life.tool,
        name=life.name,
        program=program,
        start=show(life.start_us, room.zone),
        share_used_pct=percent(share),
        cycles=trend.cycles,
        every=every,
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
