"""/losses: where the planned busy time went, without remainder."""

from __future__ import annotations

from fractions import Fraction
from functools import reduce
from operator import add
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.measure.losses import Loss, Losses
from swarfline.serve.assemble import Assembly
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures
from swarfline.serve.slices import Grouped, Slice, SliceShape, slice_fields, slices
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds

router = APIRouter(tags=["figures"])

STOPPED = "stop_loss"


class LossRow(SliceShape):
    """One share of the planned busy time of one machine, cell, …"""

    loss: str = Field(description="a condition, good_parts, scrap_parts, slow_running, producing or stop_loss")
    length: str = Field(description="of stops: short or long; else empty")
    reason: str | None = Field(description="with split=reason: the alarm's text or code; empty: not known")
    time_s: float = Field(description="slow_running is negative where faster than planned")
    share_pct: float | None = Field(description="of the planned busy time")
    parts: float | None = Field(description="what that time would have made by plan; only by part")
    planned_busy_time_s: float
    estimate: bool


Split = Annotated[Literal["condition", "reason"], Query(description="how stops are told apart")]


@router.get("/losses", response_model=Figures[LossRow], responses=OPENAPI)
def list_losses(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    by: Grouped = "machine",
    machine: MachineName = None,
    cell: CellName = None,
    split: Split = "condition",
) -> Any:
    """Losses of the span; the rows of one key add up to its planned busy time."""
    work = Assembly(room, asked.interval, asked.now_us)
    chosen = room.machines(machine, cell)
    rows = [row for piece in slices(work, by, chosen) for row in loss_rows(work, piece, split)]
    return reply.figures(room, asked, work.coverage([m.id for m in chosen]), LossRow, rows)


def losses_of(work: Assembly, piece: Slice) -> Losses:
    """The added losses of a slice."""
    return reduce(add, (work.losses(p.machine, p.spans, p.part) for p in piece.pieces), Losses())


def loss_rows(work: Assembly, piece: Slice, split: str) -> list[LossRow]:
    """The rows of one slice."""
    found = losses_of(work, piece)
    part = piece.pieces[0].part
    told = found.rows(work.room.plans.get(part) if part is not None else None)
    if split == "condition":
        return [_row(work, piece, found, loss, None) for loss in told]
    running = [_row(work, piece, found, loss, None) for loss in told if not loss.length]
    stopped = sorted(found.by_reason().items(), key=lambda item: -item[1])
    return [
        *(_row(work, piece, found, Loss(STOPPED, "", Fraction(us), None), reason) for reason, us in stopped),
        *running,
    ]


def _row(work: Assembly, piece: Slice, found: Losses, loss: Loss, reason: str | None) -> LossRow:
    busy = found.planned_busy_us
    return LossRow(
        **slice_fields(work, piece),
        loss=loss.name,
        length=loss.length,
        reason=reason,
        time_s=loss.seconds,
        share_pct=float(loss.time_us * 100 / busy) if busy else None,
        parts=None if loss.parts is None else float(loss.parts),
        planned_busy_time_s=seconds(busy),
        estimate=found.estimate,
    )
