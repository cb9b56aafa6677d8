"""/machines/{id}/stops: planned time without production, with its reason where known."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter
from pydantic import Field

from swarfline.measure.stops import Stop
from swarfline.serve.assemble import Assembly
from swarfline.serve.paging import Paged, page_of
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.shapes import Facts, Shape
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show

router = APIRouter(prefix="/machines/{machine_id}", tags=["facts"])


class StopRow(Shape):
    """One stop."""

    machine: str
    start: str
    end: str
    length_s: float = Field(description="planned time of the whole stop")
    planned_s: float = Field(description="planned time of it inside the span asked about")
    long: bool
    condition: str = Field(description="what filled most of it")
    reason: str = Field(description="empty: not known")
    reason_by: Literal["person", "rule", "alarm", "none"] = Field(
        description="who told the reason: a person, a rule of the plant file, the machine's alarm"
    )
    alarm_code: str
    by_condition_s: dict[str, float] = Field(description="planned_s by condition")
    open: bool


@router.get("/stops", response_model=Facts[StopRow], responses=OPENAPI)
def list_stops(machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying) -> Any:
    """Stops that have planned time in the span."""
    known = Assembly(room, asked.interval, asked.now_us).stops(machine.id, asked.interval)
    found, last = window.take(lambda n, after: page_of(known, n, after))
    return reply.facts(room, asked, window, StopRow, [stop_row(room, s) for s in found], last)


def stop_row(room: Room, stop: Stop) -> StopRow:
    """One stop as sent."""
    return StopRow(
        machine=stop.machine,
        start=show(stop.start_us, room.zone),
        end=show(stop.end_us, room.zone),
        length_s=seconds(stop.length_us),
        planned_s=seconds(stop.planned_us),
        long=stop.long,
        condition=stop.condition,
        reason=stop.reason,
        reason_by=stop.reason_by,  # type: ignore[arg-type]
        alarm_code=stop.alarm_code,
        by_condition_s={c: seconds(us) for c, us in stop.by_condition.items()},
        open=stop.open,
    )
