"""/machines/{id}/conditions, /alarms and /gaps: what went on, as intervals in time order."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from pydantic import Field

from swarfline.facts import Alarm, Condition, Gap
from swarfline.serve.paging import Paged
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.shapes import Facts, Shape
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show

router = APIRouter(prefix="/machines/{machine_id}", tags=["facts"])


class Interval(Shape):
    """An interval of one machine; ``open``: still going on, its end is how far it was observed."""

    machine: str
    start: str
    end: str
    duration_s: float
    open: bool


class ConditionRow(Interval):
    """One condition; conditions tile time."""

    condition: str
    alarm_code: str = Field(description="of a fault, where known")
    alarm_text: str


class AlarmRow(Interval):
    """What the machine reported as an alarm."""

    code: str
    text: str


class GapRow(Interval):
    """A time in which the machine's readings did not reach us."""

    reason: str


def interval(room: Room, fact: Condition | Alarm | Gap) -> dict[str, Any]:
    """The members of Interval."""
    return {
        "machine": fact.machine,
        "start": show(fact.start_us, room.zone),
        "end": show(fact.end_us, room.zone),
        "duration_s": seconds(fact.end_us - fact.start_us),
        "open": fact.open,
    }


@router.get("/conditions", response_model=Facts[ConditionRow], responses=OPENAPI)
def list_conditions(machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying) -> Any:
    """Conditions that overlap the span, whole."""
    found, last = window.take(
        lambda n, after: room.queries.facts(Condition, machine.id, *asked.interval, n, after)
    )
    rows = [
        ConditionRow(**interval(room, f), condition=f.condition, alarm_code=f.alarm_code, alarm_text=f.alarm_text)
        for f in found
    ]
    return reply.facts(room, asked, window, ConditionRow, rows, last)


@router.get("/alarms", response_model=Facts[AlarmRow], responses=OPENAPI)
def list_alarms(machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying) -> Any:
    """Alarms that overlap the span, whole."""
    found, last = window.take(lambda n, after: room.queries.facts(Alarm, machine.id, *asked.interval, n, after))
    rows = [AlarmRow(**interval(room, f), code=f.code, text=f.text) for f in found]
    return reply.facts(room, asked, window, AlarmRow, rows, last)


@router.get("/gaps", response_model=Facts[GapRow], responses=OPENAPI)
def list_gaps(machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying) -> Any:
    """Gaps that overlap the span, whole."""
    found, last = window.take(lambda n, after: room.queries.facts(Gap, machine.id, *asked.interval, n, after))
    rows = [GapRow(**interval(room, f), reason=f.reason) for f in found]
    return reply.facts(room, asked, window, GapRow, rows, last)
