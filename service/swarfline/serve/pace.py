"""/pace: parts made against the plan, per machine, as a rule of its shift."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from pydantic import Field

from swarfline.figures import Exact
from swarfline.serve.assemble import Assembly
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, Shape
from swarfline.serve.spans import Asked, AskedShift
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show

router = APIRouter(tags=["figures"])


class PaceRow(Shape):
    """One machine; null where there is no planned time, nothing of it has passed, or nobody watched."""

    machine: str
    from_: str = Field(alias="from")
    until: str = Field(description="end of the shift, day or week, which may lie ahead")
    part: str = Field(description="being made")
    made: int | None = Field(description="null: nobody watched")
    planned_time_s: float
    elapsed_s: float
    target: float | None = Field(description="parts wanted: as people told, else what the span makes by plan")
    target_told: bool = Field(description="people told a target for the span or some of it")
    expected: float | None = Field(description="parts that were due by now")
    ahead: float | None = Field(description="made − expected, negative when behind")
    forecast: float | None = Field(description="parts at the end, going on like this")
    estimate: bool


@router.get("/pace", response_model=Figures[PaceRow], responses=OPENAPI)
def list_pace(
    room: InRoom, asked: AskedShift, reply: Replying, machine: MachineName = None, cell: CellName = None
) -> Any:
    """Pace of the current shift, or of another span."""
    work = Assembly(room, asked.interval, asked.now_us)
    chosen = [m.id for m in room.machines(machine, cell)]
    rows = [pace_row(work, asked, m) for m in chosen]
    return reply.figures(room, asked, work.coverage(chosen), PaceRow, rows)


def pace_row(work: Assembly, asked: Asked, machine: str) -> PaceRow:
    """One machine's pace as sent."""
    found, zone = work.pace(machine, asked.until_us), work.room.zone
    return PaceRow(
        **{"from": show(asked.start_us, zone), "until": show(asked.until_us, zone)},
        machine=machine,
        part=work.part_now(machine),
        made=found.made,
        planned_time_s=seconds(found.planned_us),
        elapsed_s=seconds(found.elapsed_us),
        target=_number(found.target),
        target_told=found.told,
        expected=_number(found.expected),
        ahead=_number(found.ahead),
        forecast=_number(found.forecast),
        estimate=found.estimate,
    )


def _number(value: Exact | None) -> float | None:
    return None if value is None else float(value)
