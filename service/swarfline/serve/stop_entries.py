"""Reasons of stops that people give: /machines/{id}/stop-reasons takes them, /stop-entries lists them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.entries import Entry, StopReason
from swarfline.measure.reasons import stop_of
from swarfline.sentence import N_, Sentence
from swarfline.serve.assemble import Assembly
from swarfline.serve.entries import (
    EntryShape,
    Reason,
    SpanBody,
    Time,
    entering,
    entries_of,
    entry_fields,
    moment_of,
    span_of,
)
from swarfline.serve.paging import Paged, page_of
from swarfline.serve.problems import WRITING, wrong
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Facts
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show

router = APIRouter(tags=["entries"])


class StopReasonBody(SpanBody):
    """Why a machine stood: of the stop that goes on at ``stop``, or of the one that fills most of a span."""

    stop: Time | None = Field(default=None, description="start of the stop, or another time in it")
    reason: Reason = Field(description="text, as losses by reason show it")


class StopEntryRow(EntryShape):
    """One reason that a person gave."""

    reason: str
    stop: str | None = Field(description="start of the stop that it is about now; null: of none, or undone")
    holds: bool = Field(description="it is the reason of that stop; a later entry about the same stop takes over")


@router.post(
    "/machines/{machine_id}/stop-reasons", status_code=201, response_model=StopEntryRow, responses=WRITING
)
def give_reason(machine: OneMachine, room: InRoom, body: StopReasonBody) -> Any:
    """Give a stop its reason. It goes before rules and alarms, and a later one goes before it."""
    span = _span(room, machine.id, body)
    said = StopReason(body.reason)
    with entering(room) as door:
        entry = door.add(Entry(machine.id, *span, said, body.who, room.clock_us(), body.note))
    return _row(room, entry, Assembly(room, span, room.now_us()))


def _span(room: Room, machine: str, body: StopReasonBody) -> Interval:
    now_us = room.now_us()
    if body.stop is None:
        span = span_of(body.from_, body.to, "stop", now_us)
        if not Assembly(room, span, now_us).stops(machine, span):
            raise wrong(
                "from",
                N_("the machine has no stop in that span"),
                Sentence(N_("a span that meets one of {list}"), {"list": _list(machine)}),
            )
        return span
    if body.from_ is not None or body.to is not None:
        raise wrong("stop", N_("names a whole stop; it cannot stand beside 'from' or 'to'"), N_("one of the two"))
    at_us = moment_of("stop", body.stop, now_us)
    for stop in Assembly(room, (at_us, at_us + 1), now_us).stops(machine, (at_us, at_us + 1)):
        return stop.start_us, stop.end_us
    raise wrong(
        "stop",
        N_("the machine has no stop at that time"),
        Sentence(N_("a time in one of {list}"), {"list": _list(machine)}),
    )


def _list(machine: str) -> str:
    return f"/machines/{machine}/stops"


@router.get("/stop-entries", response_model=Facts[StopEntryRow], responses=OPENAPI)
def list_stop_entries(
    room: InRoom,
    asked: AskedSpan,
    window: Paged,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """Reasons that people gave for stops in the span, undone ones too, by the time that they are about."""
    work = Assembly(room, asked.interval, asked.now_us)
    known = entries_of(room, asked.interval, StopReason, machine, cell)
    found, last = window.take(lambda n, after: page_of(known, n, after))
    return reply.facts(room, asked, window, StopEntryRow, [_row(room, e, work) for e in found], last)


def _row(room: Room, entry: Entry, work: Assembly) -> StopEntryRow:
    whole, told = work.reasons(entry.machine)
    stop = stop_of(entry, whole) if entry.undone is None else None
    return StopEntryRow(
        **entry_fields(room, entry),
        reason=entry.said.reason if isinstance(entry.said, StopReason) else "",
        stop=None if stop is None else show(stop.start_us, room.zone),
        holds=stop is not None and told[stop.start_us].number == entry.number,
    )
