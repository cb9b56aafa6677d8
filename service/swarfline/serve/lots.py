"""/lots: the lot that each machine makes now, when it will be done, and which tools will not last that long."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.measure.lots import ToolInLot, lot_forecast
from swarfline.outlook import LotSoFar, running_lot
from swarfline.serve.assemble import Assembly
from swarfline.serve.presence import presence
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show, show_or_none

router = APIRouter(tags=["figures"])

Target = Annotated[
    int | None, Query(ge=1, description="parts wanted, of machines that do not tell the size of their lot")
]


class LotToolRow(Shape):
    """A tool that may reach its limit before the lot is done."""

    pot: str
    tool: str
    name: str
    cycles_left: int | None
    limit_at: str | None
    changes: int = Field(description="how often it will be due in this lot; 0: not likely even once")
    chance: Literal["yes", "likely", "unlikely"] = Field(description="that it will be due in this lot")


class LotRow(Shape):
    """The lot that one machine makes now; null is: not known."""

    machine: str
    lot: str | None
    part: str | None
    lot_size: int | None
    made: int | None = Field(description="parts, good or not")
    scrap: int | None
    since: str | None = Field(description="when the first part of the lot was counted, or its first cycle began")
    whole: bool | None = Field(description="the beginning was seen; else more parts may have been made")
    left: int | None
    cycles_left: int | None
    finish_at: str | None = Field(description="null too once nothing is left")
    finish_at_low: str | None = Field(description="low to high hold the truth in 80 % of the cases")
    finish_at_high: str | None
    shift_end: str | None = Field(description="end of the shift that runs; null: none runs")
    by_shift_end: Literal["yes", "likely", "unlikely", "no"] | None
    tools: list[LotToolRow] | None = Field(description="those that may not last until the lot is done")


class Lots(Listing[LotRow]):
    """Lots as of the plant's present."""

    at: str
    time_zone: str


@router.get("/lots", response_model=Lots, responses=OPENAPI)
def list_lots(
    room: InRoom,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
    target: Target = None,
) -> Any:
    """The lot of every machine of the plant, of a cell, or of one machine."""
    now_us = room.now_us()
    work = Assembly(room, (now_us, now_us), now_us)
    rows = [_lot_row(work, m.id, target) for m in room.machines(machine, cell)]
    return reply.listing(LotRow, rows, at=show(now_us, room.zone), time_zone=str(room.zone))


def lot_now(work: Assembly, machine: str, target: int | None = None) -> LotSoFar:
    """The running lot as the machine tells it, as of the plant's present."""
    room, values = work.room, presence(work.room, machine).values
    return running_lot(room.plant, room.queries, machine, values, work.part_now(machine), work.now_us, target)


def _lot_row(work: Assembly, machine: str, target: int | None) -> LotRow:
    room, now_us = work.room, work.now_us
    lot, first_us, whole = lot_now(work, machine, target)
    shift = room.calendar.shift_at(machine, now_us)
    shift_end_us = shift.end_us if shift else None
    found = lot_forecast(lot, work.prospect(machine), work.forecasts(machine), shift_end_us)
    return LotRow(
        machine=machine,
        lot=lot.lot or None,
        part=lot.part or None,
        lot_size=lot.size,
        made=lot.made,
        scrap=lot.scrap,
        since=show_or_none(first_us, room.zone),
        whole=whole,
        left=lot.left,
        cycles_left=found.done.cycles,
        finish_at=show_or_none(found.done.at_us, room.zone),
        finish_at_low=show_or_none(found.done.at_low_us, room.zone),
        finish_at_high=show_or_none(found.done.at_high_us, room.zone),
        shift_end=show_or_none(shift_end_us, room.zone),
        by_shift_end=found.by_shift_end,  # type: ignore[arg-type]
        tools=None if found.tools is None else [_tool_row(room, tool) for tool in found.tools],
    )


def _tool_row(room: Room, found: ToolInLot) -> LotToolRow:
    tool = found.tool
    return LotToolRow(
        pot=tool.pot or tool.pot_key,
        tool=tool.tool,
        name=tool.name,
        cycles_left=tool.cycles_left,
        limit_at=show_or_none(tool.limit_at_us, room.zone),
        changes=found.changes,
        chance=found.chance,  # type: ignore[arg-type]
    )
