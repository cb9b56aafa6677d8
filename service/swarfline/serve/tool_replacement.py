"""/tool-replacement: the use at which a planned change costs least, per tool type."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.measure.replacement import Replacement, replacement
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import SpanShape, percent, span_fields
from swarfline.serve.table import OPENAPI
from swarfline.serve.tool_history import (
    AskedYear,
    Early,
    KnownKind,
    Together,
    ToolKindShape,
    kind_fields,
    known_kinds,
)

router = APIRouter(tags=["tools"])

NO_COSTS = Replacement("no_costs")

Cost = Annotated[float | None, Query(gt=0, description="of one change; by default that of the plant file")]


class ReplacementRow(ToolKindShape):
    """One tool type; use in ``unit``, costs in the currency of the costs given. null is: not known, or no end."""

    failures: int
    censored: int
    state: Literal["replace", "run_to_end", "not_enough_data", "no_costs"]
    interval: float | None = Field(description="use of least cost; null: run to the end")
    interval_low: float | None = Field(description="95 % interval")
    interval_high: float | None = Field(description="null: the lives agree with running to the end too")
    beyond_seen: bool = Field(description="the interval lies beyond the longest life seen")
    cost_per_unit: float | None = Field(description="cost per unit of life used at the interval of least cost")
    cost_per_unit_at_limit: float | None = Field(description="the same, changing at the present limit")
    cost_per_unit_to_end: float | None = Field(description="the same, running to the end")
    saving_pct: float | None = Field(description="1 − cost at the interval ÷ cost to the end")


class Replacements(SpanShape):
    """Tool types by machine and tool number, and the costs that they are judged by."""

    planned_cost: float | None
    unplanned_cost: float | None
    currency: str | None = Field(description="ISO 4217 code")
    items: list[ReplacementRow]


@router.get("/tool-replacement", response_model=Replacements, responses=OPENAPI)
def list_replacements(
    room: InRoom,
    asked: AskedYear,
    reply: Replying,
    planned_cost: Cost = None,
    unplanned_cost: Cost = None,
    by: Together = "machine",
    early: Early = "censored",
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """The replacement interval of each tool type, from the lives that began in the span."""
    chosen = [m.id for m in room.machines(machine, cell)]
    costs = (
        planned_cost or room.plant.tool_changes.planned_cost,
        unplanned_cost or room.plant.tool_changes.unplanned_cost,
    )
    kinds = known_kinds(room, asked, chosen, by == "machine", early == "failure")
    rows = [replacement_row(kind, *costs) for kind in kinds]
    return reply.listing(
        ReplacementRow,
        rows,
        **span_fields(room, asked),
        planned_cost=costs[0],
        unplanned_cost=costs[1],
        currency=room.plant.figures.currency,
    )


def replacement_row(kind: KnownKind, planned: float | None, unplanned: float | None) -> ReplacementRow:
    """The replacement interval of a tool type for the costs of a planned and an unplanned change."""
    lifetimes, failures = kind.history.lifetimes, kind.history.failures
    longest = max((n.used for n in lifetimes), default=0.0)
    found = NO_COSTS
    if planned is not None and unplanned is not None:
        found = replacement(kind.fit, planned, unplanned, kind.history.limit, longest)
    return ReplacementRow(
        **kind_fields(kind),
        failures=failures,
        censored=len(lifetimes) - failures,
        state=found.state,  # type: ignore[arg-type]
        interval=found.interval,
        interval_low=found.low,
        interval_high=found.high,
        beyond_seen=found.beyond_seen,
        cost_per_unit=found.rate,
        cost_per_unit_at_limit=found.rate_at_limit,
        cost_per_unit_to_end=found.rate_to_end,
        saving_pct=percent(found.saving),
    )
