"""/machines/{id}/tools, /tool-lives and /tool-forecasts: the tools, how long they last and lasted."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter
from pydantic import Field

from swarfline.facts import ToolLife
from swarfline.measure.forecast import UNITS, ToolForecast
from swarfline.serve.assemble import Assembly
from swarfline.serve.paging import Paged
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Facts, Listing, Shape
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show, show_or_none

router = APIRouter(tags=["tools"])


class ToolRow(Shape):
    """One tool in one pot and its forecast; null is: not known."""

    machine: str
    pot: str
    tool: str
    name: str
    basis: str = Field(description="what the life counts: count, time or distance")
    unit: str = Field(description="of used to remaining and of the consumption: 1, s or m")
    used: float
    limit: float | None
    warning_level: float | None
    remaining: float | None = Field(description="negative past the limit")
    share_used_pct: float | None
    consumption_per_cycle: float | None
    cycles_left: int | None
    cycles_left_low: int | None = Field(description="low to high hold the truth in 80 % of the cases")
    cycles_left_high: int | None
    parts_left: int | None
    warning_at: str | None = Field(description="null too once the level is reached")
    warning_at_low: str | None
    warning_at_high: str | None
    limit_at: str | None = Field(description="null too once the limit is reached")
    limit_at_low: str | None
    limit_at_high: str | None
    locked: bool
    state: Literal["ok", "warning", "due", "unknown"]


class AtPresent(Listing[ToolRow]):
    """Forecasts as of the plant's present."""

    at: str
    time_zone: str


class ToolLifeRow(Shape):
    """The life of one tool in one pot."""

    machine: str
    pot: str
    tool: str
    name: str
    start: str
    end: str
    basis: str
    unit: str
    used: float = Field(description="what it achieved, so far where open")
    limit: float | None
    warning_level: float | None
    whole: bool = Field(description="its beginning was seen")
    reason: str = Field(description="why it ended: reset, replaced; empty where open or not known")
    open: bool


@router.get("/machines/{machine_id}/tools", response_model=AtPresent, responses=OPENAPI)
def list_tools(machine: OneMachine, room: InRoom, reply: Replying) -> Any:
    """The tools in the machine now, with their forecasts."""
    return _forecasts(room, reply, [machine.id])


@router.get("/tool-forecasts", response_model=AtPresent, responses=OPENAPI)
def list_forecasts(room: InRoom, reply: Replying, machine: MachineName = None, cell: CellName = None) -> Any:
    """The forecasts of every tool of the plant, of a cell or of one machine."""
    return _forecasts(room, reply, [m.id for m in room.machines(machine, cell)])


def _forecasts(room: Room, reply: Replying, machines: list[str]) -> Any:
    now_us = room.now_us()
    work = Assembly(room, (now_us, now_us), now_us)
    rows = [tool_row(room, tool) for machine in machines for tool in work.forecasts(machine)]
    return reply.listing(ToolRow, rows, at=show(now_us, room.zone), time_zone=str(room.zone))


def tool_row(room: Room, tool: ToolForecast) -> ToolRow:
    """A forecast as sent."""
    return ToolRow(
        machine=tool.machine,
        pot=tool.pot or tool.pot_key,
        tool=tool.tool,
        name=tool.name,
        basis=tool.basis,
        unit=tool.unit,
        used=tool.used,
        limit=tool.limit,
        warning_level=tool.warning_level,
        remaining=tool.remaining,
        share_used_pct=None if tool.share_used is None else tool.share_used * 100,
        consumption_per_cycle=tool.consumption_per_cycle,
        cycles_left=tool.cycles_left,
        cycles_left_low=tool.cycles_left_low,
        cycles_left_high=tool.cycles_left_high,
        parts_left=tool.parts_left,
        warning_at=show_or_none(tool.warning_at_us, room.zone),
        warning_at_low=show_or_none(tool.warning_at_low_us, room.zone),
        warning_at_high=show_or_none(tool.warning_at_high_us, room.zone),
        limit_at=show_or_none(tool.limit_at_us, room.zone),
        limit_at_low=show_or_none(tool.limit_at_low_us, room.zone),
        limit_at_high=show_or_none(tool.limit_at_high_us, room.zone),
        locked=tool.locked,
        state=tool.state,  # type: ignore[arg-type]
    )


@router.get("/machines/{machine_id}/tool-lives", response_model=Facts[ToolLifeRow], responses=OPENAPI)
def list_lives(machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying) -> Any:
    """Tool lives that overlap the span, ended and open ones."""
    found, last = window.take(lambda n, after: room.queries.facts(ToolLife, machine.id, *asked.interval, n, after))
    rows = [
        ToolLifeRow(
            machine=life.machine,
            pot=life.pot or life.pot_key,
            tool=life.tool,
            name=life.name,
            start=show(life.start_us, room.zone),
            end=show(life.end_us, room.zone),
            basis=life.basis,
            unit=UNITS.get(life.basis, ""),
            used=life.used,
            limit=life.limit,
            warning_level=life.warning_level,
            whole=life.whole,
            reason=life.reason,
            open=life.open,
        )
        for life in found
    ]
    return reply.facts(room, asked, window, ToolLifeRow, rows, last)
