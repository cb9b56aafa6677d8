"""Targets, the parts wanted in a span: /machines/{id}/targets takes them, /targets lists them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.entries import LONGEST_US, Entry, Target
from swarfline.sentence import N_, Sentence
from swarfline.serve.entries import (
    EntryShape,
    PartName,
    SpanBody,
    Time,
    entering,
    entries_of,
    entry_fields,
    too_long,
)
from swarfline.serve.paging import Paged, page_of
from swarfline.serve.problems import WRITING, wrong
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Facts
from swarfline.serve.spans import SHIFT, AskedSpan, named
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import parse

router = APIRouter(tags=["entries"])

FURTHEST_US = 400 * 86_400_000_000
"""So far ahead of the present a target may reach."""

Named = Literal["shift", "day", "week"]


class TargetBody(SpanBody):
    """Parts wanted of a machine in a span, which may lie ahead."""

    span: Named | None = Field(default=None, description="the whole one that runs; of shifts else the next")
    to: Time | None = Field(default=None, description="its end, not included; at most 400 days ahead")
    part: PartName = Field(default="", description="empty: whichever parts are made")
    quantity: Annotated[int, Field(strict=True, ge=0, le=1_000_000, description="number of parts wanted")]


class TargetRow(EntryShape):
    """One target."""

    part: str
    quantity: int


@router.post("/machines/{machine_id}/targets", status_code=201, response_model=TargetRow, responses=WRITING)
def set_target(machine: OneMachine, room: InRoom, body: TargetBody) -> Any:
    """Tell how many parts are wanted. It goes before what the plan gives; a later one of the part before it."""
    span = _span(room, machine.id, body)
    _check_part(room, machine.id, body.part)
    said = Target(body.part, body.quantity)
    with entering(room) as door:
        entry = door.add(Entry(machine.id, *span, said, body.who, room.clock_us(), body.note))
    return _row(room, entry)


def _span(room: Room, machine: str, body: TargetBody) -> Interval:
    now_us = room.now_us()
    if body.span is not None:
        if body.from_ is not None or body.to is not None:
            raise wrong(
                "span", N_("names a whole span; it cannot stand beside 'from' or 'to'"), N_("one of the two")
            )
        return _named(room, machine, body.span, now_us)
    start_us, end_us = (_moment(name, text) for name, text in (("from", body.from_), ("to", body.to)))
    if end_us <= start_us:
        raise wrong("to", N_("lies at or before 'from'"), N_("a time after 'from'"))
    if end_us - start_us > LONGEST_US:
        raise too_long()
    if end_us > now_us + FURTHEST_US:
        raise wrong("to", N_("lies more than 400 days ahead"), N_("a time at most 400 days ahead"))
    return start_us, end_us


def _moment(name: str, text: str | None) -> int:
    if text is None:
        raise wrong(name, N_("is missing"), N_("'from' and 'to', or 'span' alone"))
    try:
        return parse(text)
    except ValueError as problem:
        raise wrong(name, str(problem), N_("an RFC 3339 time with an offset")) from None


def _named(room: Room, machine: str, name: Named, now_us: int) -> Interval:
    if name == SHIFT:
        ahead = room.calendar.shift_spans(machine, now_us, now_us + LONGEST_US)
        shift = min((s for s in ahead if s.end_us > now_us), key=lambda s: s.start_us, default=None)
        if shift is None:
            raise wrong("span", N_("no shift is planned in the next 31 days"), N_("day, week, or 'from' and 'to'"))
        return shift.start_us, shift.end_us
    found = named(room, name, [machine], now_us)
    return found.start_us, found.until_us


def parts_known(room: Room, machine: str) -> list[str]:
    """Parts that a target may name: of the plant file, and what the machine made in the last 31 days."""
    now_us = room.now_us()
    made = {c.part for c in room.queries.cycle_starts(machine, now_us - LONGEST_US, now_us) if c.part}
    return sorted({p.id for p in room.plant.parts} | made)


def _check_part(room: Room, machine: str, part: str) -> None:
    if not part:
        return
    known = parts_known(room, machine)
    if part not in known:
        allowed = ", ".join(known) or N_("none are known")
        raise wrong(
            "part",
            Sentence(N_("{part} is neither in the plant file nor was it made here of late"), {"part": repr(part)}),
            allowed,
        )


@router.get("/targets", response_model=Facts[TargetRow], responses=OPENAPI)
def list_targets(
    room: InRoom,
    asked: AskedSpan,
    window: Paged,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """Targets that reach into the span, up to the end that it will have; undone ones too, by their start."""
    known = entries_of(room, (asked.start_us, asked.until_us), Target, machine, cell)
    found, last = window.take(lambda n, after: page_of(known, n, after))
    return reply.facts(room, asked, window, TargetRow, [_row(room, e) for e in found], last)


def _row(room: Room, entry: Entry) -> TargetRow:
    assert isinstance(entry.said, Target)
    return TargetRow(**entry_fields(room, entry), part=entry.said.part, quantity=entry.said.quantity)
