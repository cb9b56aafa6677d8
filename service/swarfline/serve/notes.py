"""Notes about a machine and a time: /machines/{id}/notes takes them, /notes lists them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.entries import Entry, Note
from swarfline.sentence import N_
from swarfline.serve.entries import (
    EntryShape,
    NoteText,
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

router = APIRouter(tags=["entries"])

_AHEAD = N_(
    "lies ahead of now, and a note is about what has been; leave the time empty for what a later shift has to "
    "know: the note stands on the first page until the end of the next shift"
)


class NoteBody(SpanBody):
    """Something to be known of a machine: at a time, over a span, or now where neither is told."""

    time: Time | None = Field(default=None, description="the moment that it is about")
    text: Annotated[str, NoteText] = Field(description="what is to be known")


class NoteRow(EntryShape):
    """One note."""

    text: str


@router.post("/machines/{machine_id}/notes", status_code=201, response_model=NoteRow, responses=WRITING)
def add_note(machine: OneMachine, room: InRoom, body: NoteBody) -> Any:
    """Note something about a machine; it is shown on its timeline."""
    span = _span(room, body)
    with entering(room) as door:
        entry = door.add(Entry(machine.id, *span, Note(body.text), body.who, room.clock_us(), body.note))
    return _row(room, entry)


def _span(room: Room, body: NoteBody) -> Interval:
    now_us = room.now_us()
    spanned = body.from_ is not None or body.to is not None
    if body.time is not None and spanned:
        raise wrong("time", N_("cannot stand beside 'from' or 'to'"), N_("one of the two"))
    if spanned:
        return span_of(body.from_, body.to, "time", now_us, _AHEAD)
    at_us = now_us - 1 if body.time is None else moment_of("time", body.time, now_us, _AHEAD)
    return at_us, at_us + 1


@router.get("/notes", response_model=Facts[NoteRow], responses=OPENAPI)
def list_notes(
    room: InRoom,
    asked: AskedSpan,
    window: Paged,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """Notes about the span, undone ones too, by the time that they are about."""
    known = entries_of(room, asked.interval, Note, machine, cell)
    found, last = window.take(lambda n, after: page_of(known, n, after))
    return reply.facts(room, asked, window, NoteRow, [_row(room, e) for e in found], last)


def _row(room: Room, entry: Entry) -> NoteRow:
    assert isinstance(entry.said, Note)
    return NoteRow(**entry_fields(room, entry), text=entry.said.text)
