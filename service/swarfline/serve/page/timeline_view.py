"""A machine's timeline at any zoom: lanes of conditions, cycles, parts, alarms, gaps and notes over one window."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from swarfline.calendar import Interval, from_us
from swarfline.entries import Entry, Note, standing
from swarfline.facts import COMPLETE, UNOBSERVED, Alarm, Condition, Cycle, Gap
from swarfline.plant import Machine
from swarfline.sentence import N_
from swarfline.serve.assemble import Assembly
from swarfline.serve.page import words
from swarfline.serve.page.lanes import Stretch, merged, part_stretches, stretches, tick_step_us, tiles
from swarfline.serve.page.lanes import ticks as tick_times
from swarfline.serve.page.ribbon import ribbon, ticks
from swarfline.serve.problems import wrong
from swarfline.serve.room import Room
from swarfline.serve.times import show
from swarfline.serve.tongue import gettext as _

SHORTEST_US = 10_000_000
LONGEST_US = 32 * 86_400_000_000
"""Windows of a timeline; a month with a change of clocks is the longest."""
HOUR_US = 3_600_000_000
_PIXELS = 1500
_STRETCHES = 240
_LISTED = 48
"""Shares of a window: what can be seen at all, what can be hatched and clicked on, what is worth a line."""
MOST_ROWS = 60
_MOST_CYCLES = 80
_PLAIN_BOX = 4.0


@dataclass(frozen=True, slots=True)
class Tick:
    """A tick of the axis; ``minor`` ones are left out where there is little room."""

    x: str
    label: str
    href: str
    minor: bool


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch as a shape to click on, in per cent of the width."""

    x: str
    width: str
    condition: str
    title: str
    href: str


@dataclass(frozen=True, slots=True)
class Row:
    """A stretch, an alarm, a gap, a note or a part as a line of the list."""

    start_us: int
    start: str
    end: str
    length: str
    lane: str
    condition: str
    what: str
    href: str


@dataclass(frozen=True, slots=True)
class TimelineView:
    """All that is drawn; paths are in a box of 1000 × 24, ``x`` and ``width`` in per cent."""

    machine: Machine
    start_us: int
    end_us: int
    now_us: int
    title: str
    coarse: str
    ribbon: dict[str, str]
    planned: str
    cycles: str
    broken: str
    alarms: str
    gaps: str
    notes: str
    pieces: list[Piece]
    cycle_pieces: list[Piece]
    parts: list[Piece]
    ticks: list[Tick]
    now_x: str | None
    links: list[tuple[str, str, str]]
    rows: list[Row]
    more: int
    whole: str


def window_of(start_us: int, end_us: int, now_us: int) -> Interval:
    """A window that can be drawn; ends the request with 422 for another."""
    if start_us >= now_us:
        raise wrong("from", N_("does not lie before the plant's present"), N_("a time that has passed"))
    if end_us - start_us < SHORTEST_US:
        raise wrong("to", N_("lies less than 10 s after 'from'"), N_("a time at least 10 s after 'from'"))
    if end_us - start_us > LONGEST_US:
        raise wrong("from", N_("the span is longer than 32 days"), N_("a span of at most 32 days"))
    return start_us, end_us


def timeline(room: Room, machine: Machine, window: Interval, work: Assembly | None = None) -> TimelineView:
    """The timeline of a machine over a window; ``work`` where its facts were read already."""
    now_us = room.now_us()
    told = (window[0], min(window[1], now_us))
    return _Timeline(room, machine, window, told, work or Assembly(room, told, now_us), now_us).build()


class _Timeline:
    def __init__(
        self, room: Room, machine: Machine, window: Interval, told: Interval, work: Assembly, now_us: int
    ) -> None:
        self.room, self.machine, self.window, self.told = room, machine, window, told
        self.work, self.now_us = work, now_us
        self.length_us = window[1] - window[0]

    def build(self) -> TimelineView:
        name, window = self.machine.id, self.window
        known = tiles(self.work.conditions(name), self.told)
        seen = stretches(known, max(1, self.length_us // _STRETCHES))
        listed = stretches(known, max(1, self.length_us // _LISTED))
        cycles = self.work.cycles(name)
        parts = part_stretches(cycles, self.told)
        alarms = self.room.queries.facts(Alarm, name, *self.told)
        gaps = self.room.queries.facts(Gap, name, *self.told)
        notes = standing(self.room.queries.entries(Note, name, *self.told))
        rows = sorted(self._rows(listed, parts, alarms, gaps, notes), key=lambda r: r.start_us)
        pixel = max(1, self.length_us // _PIXELS)
        fine = stretches(known, pixel) if len(known) > 4 * _PIXELS else known
        return TimelineView(
            machine=self.machine,
            start_us=window[0],
            end_us=window[1],
            now_us=self.now_us,
            title=self._title(),
            coarse=words.length(self.length_us // _LISTED),
            ribbon=ribbon([_condition(name, s) for s in fine], window, self.told[1]),
            planned=ticks(self.room.calendar.planned(name, *window), window),
            cycles=self._boxes([c for c in cycles if c.outcome == COMPLETE or c.open]),
            broken=self._boxes([c for c in cycles if c.outcome != COMPLETE and not c.open]),
            alarms=ticks(merged(alarms, window, pixel), window),
            gaps=ticks(merged(gaps, window, pixel), window),
            notes=ticks([_wide(e, self.length_us // 250) for e in notes], window),
            pieces=[self._piece(s) for s in seen if s.length_us * _STRETCHES >= self.length_us],
            cycle_pieces=self._cycle_pieces(cycles),
            parts=[self._piece(s) for s in parts],
            ticks=self._ticks(),
            now_x=self._x(self.now_us) if window[0] < self.now_us < window[1] else None,
            links=self._links(),
            rows=rows[:MOST_ROWS],
            more=max(0, len(rows) - MOST_ROWS),
            whole=self._address(*window),
        )

    def _title(self) -> str:
        start, end = (words.moment(us, self.room.zone) for us in self.window)
        return f"{start} – {end}"

    def _x(self, us: int) -> str:
        return f"{100 * (us - self.window[0]) / self.length_us:.3f}"

    def _address(self, start_us: int, end_us: int) -> str:
        """This machine's page about another window, which is kept within what can be drawn."""
        length = min(max(end_us - start_us, SHORTEST_US), LONGEST_US)
        start_us = min(max(0, start_us), self.now_us - SHORTEST_US)
        zone = self.room.zone
        asked = {"from": show(start_us, zone), "to": show(start_us + length, zone)}
        return f"/machines/{self.machine.id}?{urlencode(asked)}"

    def _around(self, start_us: int, end_us: int) -> str:
        """The address of a piece with a little of what stands beside it."""
        beside = max((end_us - start_us) // 10, SHORTEST_US // 2)
        return self._address(start_us - beside, end_us + beside)

    def _clock(self, us: int) -> str:
        text = words.clock(us, self.room.zone, self.window[0])
        return f"{text}:{from_us(us, self.room.zone):%S}" if self.length_us <= 2 * HOUR_US else text

    def _said(self, stretch: Stretch) -> str:
        if not stretch.condition:
            return stretch.what
        text = words.condition(stretch.condition)
        text = _("mostly %s") % text if stretch.mostly else text
        return f"{text}: {stretch.what}" if stretch.what else text

    def _piece(self, stretch: Stretch) -> Piece:
        times = f"{self._clock(stretch.start_us)}–{self._clock(stretch.end_us)}"
        title = f"{times}, {words.length(stretch.length_us)}: {self._said(stretch)}"
        width = f"{100 * stretch.length_us / self.length_us:.3f}"
        address = self._around(stretch.start_us, stretch.end_us)
        return Piece(self._x(stretch.start_us), width, stretch.condition, title, address)

    def _boxes(self, cycles: Sequence[Cycle]) -> str:
        """Cycles side by side with a little room between, where there is any; else runs of cycles."""
        if not cycles:
            return ""
        room_us = self.length_us // 1000
        mean = sum(c.duration_us for c in cycles) / len(cycles)
        if mean >= _PLAIN_BOX * room_us:
            inside = ((max(c.start_us, self.told[0]), min(c.end_us, self.told[1]) - room_us) for c in cycles)
            return ticks(inside, self.window)
        return ticks(merged(cycles, self.told, room_us), self.window)

    def _cycle_pieces(self, cycles: Sequence[Cycle]) -> list[Piece]:
        if len(cycles) > _MOST_CYCLES:
            return []
        found = []
        for cycle in cycles:
            start, end = max(cycle.start_us, self.told[0]), min(cycle.end_us, self.told[1])
            if start >= end:
                continue
            asked = urlencode({"start": show(cycle.start_us, self.room.zone)})
            title = f"{self._clock(cycle.start_us)}, {words.stopwatch(cycle.duration_us)}, {cycle.part}"
            width = f"{100 * (end - start) / self.length_us:.3f}"
            address = f"/machines/{self.machine.id}/cycles/at?{asked}"
            found.append(Piece(self._x(start), width, cycle.outcome, title, address))
        return found

    def _ticks(self) -> list[Tick]:
        step, found = tick_step_us(self.window), tick_times(self.room.calendar, self.window)
        every = max(1, -(-len(found) // 8))
        return [
            Tick(self._x(at), self._tick_label(at, day, step), self._address(at, at + step), place % every != 0)
            for place, (at, day) in enumerate(found)
        ]

    def _tick_label(self, at: int, day: date, step: int) -> str:
        moment = from_us(at, self.room.zone)
        if step >= 24 * HOUR_US or (moment.hour == moment.minute == moment.second == 0 and at > self.window[0]):
            return words.weekday(day)
        if step >= HOUR_US:
            return f"{moment:%H}"
        return f"{moment:%H:%M}" if step >= 60_000_000 else f"{moment:%H:%M:%S}"

    def _links(self) -> list[tuple[str, str, str]]:
        """Key, title and address of what leads to other windows."""
        (start, end), half, quarter = self.window, self.length_us // 2, self.length_us // 4
        middle = self.now_us if start < self.now_us < end else (start + end) // 2
        found = [("back", _("half back"), self._address(start - half, end - half))]
        if start + half < self.now_us:
            found.append(("on", _("half on"), self._address(start + half, end + half)))
        if half >= SHORTEST_US:
            found.append(("closer", _("closer"), self._address(start + quarter, end - quarter)))
        if self.length_us < LONGEST_US:
            found.append(("wider", _("wider"), self._address(start - half, end + half)))
        hour = self._address(middle - HOUR_US // 2, middle + HOUR_US // 2)
        return [*found, ("hour", _("one hour"), hour)]

    def _row(
        self, start_us: int, end_us: int, lane: str, what: str, condition: str = "", open_: bool = False
    ) -> Row:
        return Row(
            start_us,
            self._clock(start_us),
            _("goes on") if open_ else self._clock(end_us),
            words.length(end_us - start_us) if end_us - start_us > 1 else "",
            lane,
            condition,
            what,
            self._around(start_us, end_us),
        )

    def _rows(
        self,
        seen: Sequence[Stretch],
        parts: Sequence[Stretch],
        alarms: Sequence[Alarm],
        gaps: Sequence[Gap],
        notes: Sequence[Entry],
    ) -> list[Row]:
        found = [self._row(s.start_us, s.end_us, _("Condition"), self._said(s), s.condition) for s in seen]
        found += [self._row(s.start_us, s.end_us, _("Part"), s.what) for s in parts]
        for alarm in alarms:
            text = f"{alarm.code} {alarm.text}".strip()
            found.append(self._row(alarm.start_us, alarm.end_us, _("Alarm"), text, open_=alarm.open))
        found += [self._row(g.start_us, g.end_us, _("Gap"), words.gap(g.reason), UNOBSERVED, g.open) for g in gaps]
        for entry in notes:
            assert isinstance(entry.said, Note)
            text = f"{entry.said.text} ({entry.who})"
            found.append(self._row(entry.start_us, entry.end_us, _("Note"), text))
        return found


def _wide(entry: Entry, least_us: int) -> Interval:
    """A note's span, as wide as can be seen."""
    return entry.start_us, max(entry.end_us, entry.start_us + least_us)


def _condition(machine: str, stretch: Stretch) -> Condition:
    return Condition(machine, stretch.start_us, stretch.end_us, stretch.condition)
