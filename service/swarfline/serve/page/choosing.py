"""What a page is about, by its address: a span of time, and machines.

``span`` names a kind of span, ``at`` a time in the one that is meant (the present one unless told); ``from`` and
``to`` give any other. Times may be RFC 3339, or as HTML's date fields send them: then they are the plant's zone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Depends, Request

from swarfline.calendar import from_us, to_us
from swarfline.plant import Machine
from swarfline.sentence import N_, Sentence
from swarfline.serve.page import words
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom, Room
from swarfline.serve.slices import SliceShape
from swarfline.serve.spans import DAY, LONGEST_US, MONTH, SHIFT, WEEK, Asked, latest_shift, named
from swarfline.serve.times import parse, show
from swarfline.serve.tongue import gettext as _

OWN = "own"
KINDS = (SHIFT, DAY, WEEK, MONTH, OWN)
MOST_PAGE = 1_000_000
"""Highest number of a page of a list that is understood."""
_ALLOWED = N_("an RFC 3339 time, or YYYY-MM-DDTHH:MM, or YYYY-MM-DD")


@dataclass(frozen=True, slots=True)
class Chosen:
    """The span asked for and its kind, the machine or cell asked for, and the machines that are meant."""

    room: Room
    path: str
    asked: Asked
    kind: str
    machine: str | None
    cell: str | None
    machines: tuple[Machine, ...]
    more: tuple[tuple[str, str], ...] = ()

    @property
    def title(self) -> str:
        """The span in words; the plant's zone."""
        zone, asked = self.room.zone, self.asked
        if self.kind == DAY:
            return words.day(self.room.calendar.day_of(asked.start_us))
        if self.kind == SHIFT:
            return f"{asked.name}, {span_words(asked.start_us, asked.until_us, self.room)}"
        if self.kind in (WEEK, MONTH):
            first, last = (self.room.calendar.day_of(us) for us in (asked.start_us, asked.until_us - 1))
            return f"{words.day(first)} – {words.day(last)}"
        return f"{words.minute(asked.start_us, zone)} – {words.minute(asked.end_us, zone)}"

    @property
    def whose(self) -> str:
        """The machines that are meant, in words."""
        if self.machine is not None:
            return self.machines[0].name or self.machine
        return self.room.plant.plant.name if self.cell is None else self.room.cell_name(self.cell)

    @property
    def complete(self) -> bool:
        """Whether the whole span has passed."""
        return self.asked.until_us <= self.asked.now_us

    @property
    def moments(self) -> dict[str, str]:
        """``from`` and ``to`` as the API takes them."""
        return {"from": show(self.asked.start_us, self.room.zone), "to": show(self.asked.end_us, self.room.zone)}

    def field(self, us: int) -> str:
        """A moment as an HTML date field takes it, the plant's zone."""
        return f"{from_us(us, self.room.zone):%Y-%m-%dT%H:%M}"

    def address(self, **other: str | None) -> str:
        """This page with other parameters; None leaves one out."""
        kept: dict[str, str | None] = {"machine": self.machine, "cell": self.cell, **dict(self.more)}
        if self.kind == OWN:
            kept |= self.moments
        else:
            kept |= {"span": self.kind}
            if self.complete:
                kept["at"] = show(self.asked.start_us, self.room.zone)
        told = {name: value for name, value in {**kept, **other}.items() if value is not None}
        return f"{self.path}?{urlencode(told)}"

    @property
    def before(self) -> str:
        """The same page about the span right before."""
        return self._moved(self.asked.start_us - 1, self.asked.start_us - self._length_us)

    @property
    def after(self) -> str | None:
        """The same page about the span right after; None where it has not begun."""
        begun = self.asked.until_us < self.asked.now_us
        return self._moved(self.asked.until_us, self.asked.end_us) if begun else None

    @property
    def _length_us(self) -> int:
        return self.asked.end_us - self.asked.start_us

    def _moved(self, at_us: int, start_us: int) -> str:
        zone = self.room.zone
        if self.kind == OWN:
            return self.address(**{"from": show(start_us, zone), "to": show(start_us + self._length_us, zone)})
        return self.address(at=show(at_us, zone))


def span_words(start_us: int, end_us: int, room: Room) -> str:
    """Tue 10 Mar 2026, 06:00–14:00"""
    day = words.day(room.calendar.day_of(start_us))
    return f"{day}, {words.clock(start_us, room.zone)}–{words.clock(end_us, room.zone)}"


def piece_words(room: Room, by: str, row: SliceShape) -> str:
    """A shift, day or week of a span: late, Tue 10 Mar 2026. A shift over midnight is of the day it begins."""
    if by == "week":
        return _("week of %s") % words.day(room.calendar.day_of(parse(row.from_)))
    day = words.day(date.fromisoformat(row.key[:10]))
    return f"{row.name}, {day}" if by == "shift" else day


def choose(
    request: Request, room: Room, default: str = SHIFT, more: tuple[str, ...] = (), machine: str | None = None
) -> Chosen:
    """What the address of a page means; ends the request with 404 or 422 for what it cannot mean.

    ``more`` are further parameters of the page that its links keep; ``machine``: the page is about this one only.
    """
    told = {name: value for name, value in request.query_params.items() if value.strip()}
    named_machine, cell = (told.get("machine"), told.get("cell")) if machine is None else (machine, None)
    machines = tuple(room.machines(named_machine, cell))
    kind, asked = _span(room, told, [m.id for m in machines], default)
    kept = tuple((name, told[name]) for name in more if name in told)
    return Chosen(
        room, request.url.path, asked, kind, told.get("machine") if machine is None else None, cell, machines, kept
    )


def _span(room: Room, told: dict[str, str], machines: list[str], default: str) -> tuple[str, Asked]:
    kind = told.get("span", OWN if "from" in told else default)
    if kind not in KINDS:
        raise wrong("span", Sentence(N_("{kind} is no kind of span"), {"kind": repr(kind)}), ", ".join(KINDS))
    if kind == OWN:
        return OWN, _own(room, told)
    now_us = room.now_us()
    at_us = now_us if "at" not in told else min(now_us, moment("at", told["at"], room))
    if kind == SHIFT and latest_shift(room, machines, at_us) is None:
        kind = DAY
    found = _shift(room, machines, at_us) if kind == SHIFT else named(room, kind, machines, at_us)
    return kind, Asked(found.start_us, min(found.until_us, now_us), now_us, found.until_us, found.name)


def _shift(room: Room, machines: list[str], at_us: int) -> Asked:
    """The shift at a time, with its own name."""
    shift = latest_shift(room, machines, at_us)
    assert shift is not None
    return Asked(shift.start_us, shift.end_us, at_us, shift.end_us, shift.name)


def _own(room: Room, told: dict[str, str]) -> Asked:
    now_us = room.now_us()
    if "from" not in told:
        raise wrong("from", N_("is missing"), _ALLOWED)
    start_us = moment("from", told["from"], room)
    end_us = now_us if "to" not in told else moment("to", told["to"], room)
    if start_us >= now_us:
        raise wrong("from", N_("does not lie before the plant's present"), N_("a time that has passed"))
    if not start_us < end_us:
        raise wrong("to", N_("lies at or before 'from'"), N_("a time after 'from'"))
    if end_us - start_us > LONGEST_US:
        raise wrong("from", N_("the span is longer than 400 days"), N_("a span of at most 400 days"))
    end_us = min(end_us, now_us)
    return Asked(start_us, end_us, now_us, end_us)


def moment(name: str, text: str, room: Room) -> int:
    """A time of the address, µs UTC; ends the request with 422 for what is none."""
    try:
        return parse(text)
    except ValueError:
        pass
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        raise wrong(name, Sentence(N_("{value} is no time"), {"value": repr(text[:40])}), _ALLOWED) from None
    # an hour that a clock change makes twice is taken for the first one (RFC 5545, 3.3.5)
    return to_us(told if told.tzinfo is not None else told.replace(tzinfo=room.zone))


def page_number(asked: Mapping[str, str]) -> int:
    """Which page of a list ``page`` means, from 1 on; ends the request with 422 for what is none."""
    told = asked.get("page") or "1"
    if not (told.isascii() and told.isdecimal() and 1 <= int(told[:12]) <= MOST_PAGE):
        raise wrong(
            "page", Sentence(N_("{value} is no page"), {"value": repr(told[:40])}), N_("a whole number from 1 on")
        )
    return int(told[:12])


def kind_words(kind: str) -> str:
    """A kind of span in words."""
    return {
        SHIFT: _("shift"),
        DAY: _("day"),
        WEEK: _("week"),
        MONTH: _("month"),
        OWN: _("from – to"),
    }[kind]


def _chosen(request: Request, room: InRoom) -> Chosen:
    return choose(request, room)


InChosen = Annotated[Chosen, Depends(_chosen)]
"""The shift unless told otherwise."""
