"""Notes to hand over: what people noted in the shift that runs and the one before it."""

from __future__ import annotations

from dataclasses import dataclass

from swarfline.entries import Note, standing
from swarfline.plant import Machine
from swarfline.serve.page import words
from swarfline.serve.room import Room
from swarfline.serve.spans import latest_shift

MOST = 10
"""Notes that are shown, the newest; the machines' pages have all of them."""


@dataclass(frozen=True, slots=True)
class NoteLine:
    """One note: about which machine and when, by whom."""

    machine: Machine
    text: str
    when: str
    who: str


@dataclass(frozen=True, slots=True)
class ShiftNotes:
    """The newest notes since ``since``, and how many more there are."""

    lines: list[NoteLine]
    more: int
    since: str


def shift_notes(room: Room) -> ShiftNotes:
    """Notes about the time since the shift before this one began; without shifts, since yesterday's midnight."""
    now_us = room.now_us()
    since_us = _since(room, now_us)
    known = {m.id: m for m in room.plant.machines}
    found = [e for e in standing(room.queries.entries(Note, None, since_us, now_us)) if e.machine in known]
    found.sort(key=lambda e: (-e.start_us, -e.number))
    lines = [
        NoteLine(known[e.machine], e.said.text, words.clock(e.start_us, room.zone, now_us), e.who)
        for e in found[:MOST]
        if isinstance(e.said, Note)
    ]
    return ShiftNotes(lines, max(0, len(found) - MOST), words.clock(since_us, room.zone, now_us))


def _since(room: Room, now_us: int) -> int:
    machines = [m.id for m in room.plant.machines]
    shift = latest_shift(room, machines, now_us)
    before = None if shift is None else latest_shift(room, machines, shift.start_us - 1)
    if shift is not None:
        return shift.start_us if before is None else before.start_us
    midnight = room.calendar.day_span(room.calendar.day_of(now_us))[0]
    return room.calendar.day_span(room.calendar.day_of(midnight - 1))[0]
