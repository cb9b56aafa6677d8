"""What a report is about: a span, the machines meant, and the span before that it is held against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from swarfline.calendar import Interval, ShiftSpan, from_us
from swarfline.plant import Machine
from swarfline.sentence import N_
from swarfline.serve.page import words
from swarfline.serve.problems import wrong
from swarfline.serve.room import Room
from swarfline.serve.spans import DAY, MONTH, SHIFT, WEEK, Asked, latest_shift, named
from swarfline.serve.tongue import gettext as _

OWN = "own"
LONGEST_US = 62 * 86_400_000_000
"""Every fact of the span is read; a year has too many of them for two sheets."""
KINDS = (SHIFT, DAY, WEEK, MONTH)
_DAYS_BACK = 14
_LOOK_BACK_US = 15 * 86_400_000_000


@dataclass(frozen=True, slots=True)
class Subject:
    """``kind`` is shift, day, week, month or own; ``before`` None: nothing to hold the span against."""

    room: Room
    asked: Asked
    kind: str
    machines: tuple[Machine, ...]
    whose: str
    before: Interval | None

    @property
    def ids(self) -> list[str]:
        """The machines' ids."""
        return [m.id for m in self.machines]

    @property
    def whole_plant(self) -> bool:
        """Whether every machine is meant."""
        return len(self.machines) == len(self.room.plant.machines)

    @property
    def complete(self) -> bool:
        """Whether the span is over."""
        return self.asked.until_us <= self.asked.now_us

    @property
    def title(self) -> str:
        """The span in words."""
        until_us = self.asked.end_us if self.kind == OWN else self.asked.until_us
        shift = self.asked.name if self.kind == SHIFT else ""
        return span_title(self.room, self.kind, (self.asked.start_us, until_us), shift)


def subject(
    room: Room,
    kind: str,
    asked: Asked,
    machine: str | None = None,
    cell: str | None = None,
    only: Sequence[str] = (),
) -> Subject:
    """The subject of a report, of ``only`` some machines where they are named.

    Raises RefusedError for unknown machines and cells, and for spans that are too long.
    """
    if asked.end_us - asked.start_us > LONGEST_US:
        raise wrong("from", N_("the span is longer than 62 days"), N_("a span of at most 62 days"))
    machines = tuple(m for m in room.machines(machine, cell) if not only or m.id in only)
    ids = [m.id for m in machines]
    whose = _("all machines")
    if machine is not None:
        whose = machines[0].name or machine
    elif cell is not None:
        whose = room.cell_name(cell)
    elif only:
        whose = ", ".join(m.name or m.id for m in machines)
    return Subject(room, asked, kind, machines, whose, before(room, kind, asked, ids))


def span_at(room: Room, kind: str, at_us: int, machines: Sequence[str]) -> Asked:
    """The shift, day, week or month that holds a time, up to the present; a shift by its own name.

    Raises RefusedError where no shift was planned in the 15 days before.
    """
    now_us = room.now_us()
    at_us = min(at_us, now_us)
    found = named(room, kind, machines, at_us)
    name = kind
    if kind == SHIFT:
        shift = latest_shift(room, machines, at_us)
        name = shift.name if shift else kind
    return Asked(found.start_us, min(found.until_us, now_us), now_us, found.until_us, name)


def before(room: Room, kind: str, asked: Asked, machines: Sequence[str]) -> Interval | None:
    """The span of the same kind before: the shift that ended last, the last day with planned time, the week.

    Of a span that is not over the same stretch: as much of the one before as has passed of this one.
    """
    found = _whole_before(room, kind, asked, machines)
    if found is None or asked.until_us <= asked.now_us:
        return found
    return found[0], min(found[1], found[0] + asked.end_us - asked.start_us)


def _whole_before(room: Room, kind: str, asked: Asked, machines: Sequence[str]) -> Interval | None:
    start, calendar = asked.start_us, room.calendar
    if kind == SHIFT:
        shift = _shift_before(room, start, machines)
        return (shift.start_us, shift.end_us) if shift else None
    if kind == DAY:
        return _day_before(room, start, machines)
    if kind in (WEEK, MONTH):
        whole = calendar.week_span if kind == WEEK else calendar.month_span
        return whole(calendar.day_of(start - 1))
    return 2 * start - asked.end_us, start


def _shift_before(room: Room, start_us: int, machines: Sequence[str]) -> ShiftSpan | None:
    spans = (s for m in machines for s in room.calendar.shift_spans(m, start_us - _LOOK_BACK_US, start_us))
    return max((s for s in spans if s.end_us <= start_us), key=lambda s: s.end_us, default=None)


def _day_before(room: Room, start_us: int, machines: Sequence[str]) -> Interval:
    """A Monday is held against the Friday where nobody works in between."""
    calendar = room.calendar
    yesterday = calendar.day_of(start_us - 1)
    for back in range(_DAYS_BACK):
        span = calendar.day_span(yesterday - timedelta(days=back))
        if any(calendar.planned(m, *span) for m in machines):
            return span
    return calendar.day_span(yesterday)


def span_title(room: Room, kind: str, span: Interval, shift: str = "") -> str:
    """A span in words: Tue 10 Mar 2026; early, Tue 10 Mar 2026, 06:00–14:00; Mon 9 – Sun 15 Mar 2026."""
    first, last = (room.calendar.day_of(us) for us in (span[0], span[1] - 1))
    if kind == DAY:
        return words.day(first)
    if kind in (WEEK, MONTH):
        return f"{words.day(first)} – {words.day(last)}"
    start, end = (words.clock(us, room.zone) for us in span)
    if first == room.calendar.day_of(span[1]) or kind == SHIFT:
        return (f"{shift}, " if shift else "") + f"{words.day(first)}, {start}–{end}"
    return f"{words.day(first)}, {start} – {words.day(room.calendar.day_of(span[1]))}, {end}"


def zone_words(room: Room, span: Interval) -> str:
    """Europe/Madrid (UTC+01:00); both offsets where the clocks change in the span."""
    offsets = (f"UTC{from_us(us, room.zone).isoformat(timespec='seconds')[19:]}" for us in span)
    return f"{room.zone} ({' → '.join(dict.fromkeys(offsets))})"
