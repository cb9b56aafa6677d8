"""/losses: where the planned busy time went, without remainder."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.measure.losses import Loss, added
from swarfline.serve.assemble import Assembly, Stretch
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures
from swarfline.serve.slices import Grouped, Slice, SliceShape, slice_fields, slices
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds

router = APIRouter(tags=["figures"])


class LossRow(SliceShape):
    """One share of the planned busy time of one machine, cell, …"""

    loss: str = Field(description="a condition, good_parts, scrap_parts, slow_running, producing or stop_loss")
    length: str = Field(description="of stops: short or long; else empty")
    reason: str | None = Field(description="with split=reason: the stops' reason; empty: not known")
    time_s: float = Field(description="slow_running is negative where faster than planned")
    share_pct: float | None = Field(description="of the planned busy time")
    parts: float | None = Field(description="what that time would have made by plan, of the part being made then")
    money: float | None = Field(description="what that time was worth; null without an hourly rate")
    currency: str | None = Field(description="ISO 4217 code")
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


def loss_rows(work: Assembly, piece: Slice, split: str) -> list[LossRow]:
    """The rows of one slice."""
    stretches = [found for p in piece.pieces for found in work.losses(p.machine, p.spans, p.part)]
    return rows_of(work, piece, stretches, split)


def rows_of(work: Assembly, piece: Slice, stretches: Sequence[Stretch], split: str) -> list[LossRow]:
    """The rows of one slice whose losses are known already."""
    by_reason = split == "reason"
    told = (loss.rows_by_reason(price) if by_reason else loss.rows(price) for loss, price in stretches)
    rows = added(row for rows in told for row in rows)
    busy_us = sum(loss.planned_busy_us for loss, _ in stretches)
    estimate = any(loss.estimate for loss, _ in stretches)
    return [loss_row(work, piece, loss, busy_us, estimate) for loss in sorted(rows, key=_place)]


def _place(loss: Loss) -> tuple[int, Fraction]:
    """Stops by condition as they come, those by reason the longest first, then what was produced."""
    return (1, -loss.time_us) if loss.reason is not None else (0 if loss.length else 2, Fraction(0))


def loss_row(work: Assembly, piece: Slice, loss: Loss, busy_us: int, estimate: bool) -> LossRow:
    """One loss as sent."""
    return LossRow(
        **slice_fields(work, piece),
        loss=loss.name,
        length=loss.length,
        reason=loss.reason,
        time_s=loss.seconds,
        share_pct=float(loss.time_us * 100 / busy_us) if busy_us else None,
        parts=_number(loss.parts),
        money=_number(loss.money),
        currency=work.room.plant.figures.currency,
        planned_busy_time_s=seconds(busy_us),
        estimate=estimate,
    )


def _number(value: Fraction | None) -> float | None:
    return None if value is None else float(value)
