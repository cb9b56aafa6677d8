"""The plant now: every text of the first page, by cell name; the page and the stream show the same ones."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from fractions import Fraction
from functools import reduce
from math import ceil
from operator import add
from typing import Any

from swarfline.alerts import Alert, by_urgency
from swarfline.capability import can_tell
from swarfline.facts import CONDITIONS
from swarfline.measure.energy import EnergySums, energy_figures
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.oee import HINT_TOO_LONG, OeeSums, oee
from swarfline.measure.pace import Pace
from swarfline.serve.assemble import Assembly
from swarfline.serve.machines import now_shape
from swarfline.serve.page import words
from swarfline.serve.page.alert_words import MOST, alert_cells, shown
from swarfline.serve.page.amounts import Amount, hours, money
from swarfline.serve.page.ribbon import ribbon
from swarfline.serve.page.running import Usual, left_cells, usual_times
from swarfline.serve.presence import Presence, presences
from swarfline.serve.room import Room
from swarfline.serve.spans import Asked, latest_shift
from swarfline.serve.times import show
from swarfline.serve.tongue import OURS, speaking
from swarfline.serve.tongue import gettext as _

FRESH_US = 5_000_000
"""Figures younger than this, by our clock, are not computed anew."""
SHOWN_US = 15_000_000
"""Figures younger than this are good enough for a page to begin with: its stream brings newer ones within seconds,
and while it runs for somebody no load waits for a computation."""

Cells = dict[str, str]


@dataclass(frozen=True, slots=True)
class Figures:
    """The slower half of the picture."""

    cells: Cells = field(default_factory=dict)
    usual: dict[str, Usual] = field(default_factory=dict)
    computed_us: int = 0


class Board:
    """Makes the picture in one language; may be used from several threads."""

    def __init__(self, room: Room, language: str = OURS) -> None:
        self._room = room
        self._language = language
        self._figures = Figures()
        self._lock = threading.Lock()

    def refresh(self, oldest_us: int = FRESH_US) -> None:
        """Compute the figures anew, unless they are younger than ``oldest_us``."""
        with self._lock, speaking(self._language):
            if self._room.clock_us() - self._figures.computed_us >= oldest_us:
                self._figures = figures(self._room)

    def look(self, whole: bool = False) -> dict[str, Any]:
        """The present picture: at, cells, alerts; the whole one has machines too, which no page shows."""
        if not self._figures.computed_us:
            self.refresh()
        with speaking(self._language):
            return self._look(whole)

    def _look(self, whole: bool) -> dict[str, Any]:
        known, room = self._figures, self._room
        now_us = room.now_us()
        seen = presences(room)
        cells = dict(known.cells)
        for machine in seen:
            usual = known.usual.get(machine.machine, {})
            cells |= now_cells(room, machine, usual, now_us) | left_cells(machine, usual, now_us)
        standing = by_urgency(room.queries.alerts(standing=True), now_us)
        cells |= plant_cells(room, seen, standing, now_us)
        look = {
            "at": show(now_us, room.zone),
            "cells": cells,
            "alerts": [shown(room, a, now_us) for a in standing[:MOST]],
        }
        if whole:
            look["machines"] = {s.machine: now_shape(room, s, now_us).model_dump(mode="json") for s in seen}
        return look


def now_cells(room: Room, seen: Presence, usual: Usual, now_us: int) -> Cells:
    """What changes by the second, for one machine; ``usual`` as for the time that its cycle has left."""
    running = seen.running
    part, cycle = words.UNKNOWN, words.UNKNOWN
    if seen.linked:
        values = seen.values
        named = [str(values[s]) for s in ("part", "lot") if values.get(s)]
        part = " · ".join(named) if named else (running.part if running else "") or words.UNKNOWN
        cycle = _("none running") if running is None else words.stopwatch(now_us - running.start_us)
        whole_us = None if running is None else usual.get((running.program, running.part))
        if whole_us is not None:
            cycle = _("%(passed)s of about %(usual)s") % {"passed": cycle, "usual": words.stopwatch(whole_us)}
    return {
        f"{seen.machine}.condition": seen.condition,
        f"{seen.machine}.mark": f"#mark-{seen.condition}",
        f"{seen.machine}.word": words.condition(seen.condition),
        f"{seen.machine}.since": _since(room, seen, now_us),
        f"{seen.machine}.lasting": words.length(None if seen.since_us is None else now_us - seen.since_us),
        f"{seen.machine}.part": part,
        f"{seen.machine}.cycle": cycle,
        f"{seen.machine}.program": running.program if running else "",
    }


def _since(room: Room, seen: Presence, now_us: int) -> str:
    if seen.since_us is None:
        return _("never heard of")
    told = {"time": words.clock(seen.since_us, room.zone, now_us), "length": words.length(now_us - seen.since_us)}
    return _("since %(time)s, %(length)s") % told


def plant_cells(room: Room, seen: list[Presence], standing: list[Alert], now_us: int) -> Cells:
    """What changes by the second, for the plant."""
    counts = {c: sum(s.condition == c for s in seen) for c in CONDITIONS}
    return {
        "plant.now": words.moment(now_us, room.zone),
        "plant.time": words.clock(now_us, room.zone),
        **alert_cells(room, standing, now_us),
        **{f"plant.count.{c}": str(n) for c, n in counts.items()},
    }


@dataclass(frozen=True, slots=True)
class Shift:
    """One machine in its latest shift."""

    asked: Asked
    sums: OeeSums
    pace: Pace
    usual: Usual
    lost: Amount
    cells: Cells


def figures(room: Room) -> Figures:
    """The slower half: OEE, pace, tools and ribbons of the shift, energy of the day."""
    now_us = room.now_us()
    shifts = {m.id: _shift(room, m.id, now_us) for m in room.plant.machines}
    cells = {name: text for shift in shifts.values() for name, text in shift.cells.items()}
    cells |= _together(room, list(shifts.values()))
    cells |= _energy_cells(room, now_us)
    return Figures(cells, {m: s.usual for m, s in shifts.items()}, room.clock_us())


def _shift(room: Room, machine: str, now_us: int) -> Shift:
    asked = shift_or_day(room, [machine], now_us)
    work = Assembly(room, asked.interval, now_us)
    sums, pace = work.oee_sums(machine, [asked.interval]), work.pace(machine, asked.until_us)
    lost = Amount.lost(sums, work.rate(machine))
    drawn = ribbon(work.conditions(machine), (asked.start_us, asked.until_us), asked.end_us)
    cells = {
        **_oee_cells(machine, sums),
        f"{machine}.lost": lost_words(room, lost),
        f"{machine}.made": words.number(pace.made),
        f"{machine}.due": words.number(pace.expected),
        # whole parts, as the machine's own page has it
        f"{machine}.target": words.number(None if pace.target is None else ceil(pace.target)),
        f"{machine}.ahead": words.signed(pace.ahead),
        f"{machine}.shift": asked.name,
        **_tool_cells(room, machine, work.forecasts(machine), now_us),
        **{f"{machine}.ribbon.{c}": path for c, path in drawn.items()},
    }
    return Shift(
        asked,
        sums,
        pace,
        usual_times(work.last_cycles(machine)),
        lost,
        cells,
    )


def _together(room: Room, shifts: list[Shift]) -> Cells:
    """The plant's totals: of the machines whose shift runs, or of all where none runs."""
    running = [s for s in shifts if s.asked.until_us > s.asked.now_us] or shifts
    seen = [s.pace.made for s in running if s.pace.made is not None]
    made = sum(seen) if seen else None
    due = [s.pace.expected for s in running]
    known = [d for d in due if d is not None]
    expected = sum(known, Fraction(0)) if len(known) == len(due) else None
    return {
        **_oee_cells("plant", reduce(add, (s.sums for s in running), OeeSums())),
        "plant.lost": lost_words(room, reduce(add, (s.lost for s in running), Amount(0.0, 0.0, 0.0))),
        "plant.machines": _("%(some)s of %(all)s machines") % {"some": len(running), "all": len(shifts)},
        "plant.made": words.number(made),
        "plant.due": words.number(expected),
        "plant.ahead": words.UNKNOWN if expected is None or made is None else words.signed(made - expected),
    }


def shift_or_day(room: Room, machines: list[str], now_us: int) -> Asked:
    """The latest shift of these machines up to the present; without shifts the day. ``name`` says which."""
    shift = latest_shift(room, machines, now_us)
    if shift is None:
        start, end = room.calendar.day_span(room.calendar.day_of(now_us))
        return Asked(start, min(end, now_us), now_us, end, _("today"))
    name = f"{shift.name} {words.clock(shift.start_us, room.zone, now_us)}–{words.clock(shift.end_us, room.zone)}"
    return Asked(shift.start_us, min(shift.end_us, now_us), now_us, shift.end_us, name)


def lost_words(room: Room, lost: Amount) -> str:
    """0.86 h, 73.10 EUR; without money where no hourly rate is set."""
    if lost.money is None:
        return hours(lost.time_s)
    return f"{hours(lost.time_s)}, {money(lost.money, room.plant.figures.currency)}"


def _oee_cells(name: str, sums: OeeSums) -> Cells:
    figures = oee(sums)
    found = {n: f.exact for n, f in figures.items()}
    too_long = any(f.hint == HINT_TOO_LONG for f in figures.values())
    return {
        f"{name}.hint": _("Above 100 %: the planned time is too long.") if too_long else "",
        f"{name}.oee": words.percent(found["oee"]) + (_(" est.") if sums.estimate else ""),
        f"{name}.availability": words.percent(found["availability"]),
        f"{name}.effectiveness": words.percent(found["effectiveness"]),
        f"{name}.quality": words.percent(found["quality_ratio"]),
        f"{name}.coverage": words.percent(sums.coverage),
    }


def _tool_cells(room: Room, machine: str, tools: list[ToolForecast], now_us: int) -> Cells:
    tool = next_tool(tools)
    if tool is None:
        return {f"{machine}.tool": words.UNKNOWN, f"{machine}.tool_state": "", f"{machine}.tool_when": ""}
    return {
        f"{machine}.tool": words.tool(tool.tool, tool.name),
        f"{machine}.tool_state": tool.state,
        f"{machine}.tool_when": outlook(room, tool, now_us),
    }


def next_tool(tools: list[ToolForecast]) -> ToolForecast | None:
    """The tool to be changed first: one past its limit, else the one with the fewest cycles left."""
    due = [t for t in tools if t.state == "due"]
    told = [t for t in tools if t.cycles_left is not None]
    if due:
        return max(due, key=lambda t: t.share_used or 0.0)
    return min(told, key=lambda t: t.cycles_left or 0, default=None)


def outlook(room: Room, tool: ToolForecast, now_us: int) -> str:
    """When a tool is due, in words."""
    if tool.state == "due":
        return _("limit reached")
    if tool.consumption_per_cycle == 0:
        return _("not used at present")
    if tool.cycles_left is None:
        return words.UNKNOWN
    text = words.cycles(tool.cycles_left)
    if tool.limit_at_us is not None:
        text += ", " + _("about %s") % words.clock(tool.limit_at_us, room.zone, now_us)
    return text


def _energy_cells(room: Room, now_us: int) -> Cells:
    day = room.calendar.day_span(room.calendar.day_of(now_us))
    span = (day[0], max(now_us, day[0] + 1))
    work = Assembly(room, span, now_us)
    telling = [m.id for m in room.plant.machines if can_tell(room.plant, m, "energy")]
    found = energy_figures(reduce(add, (work.energy(m, [span]) for m in telling), EnergySums()))
    value, part = found["energy"], found["energy_per_good_part"]
    return {
        "plant.energy": words.UNKNOWN if value.value is None else f"{words.number(value.value, 1)} kWh",
        "plant.energy_per_part": words.UNKNOWN if part.value is None else f"{words.number(part.value, 3)} kWh",
        "plant.energy_coverage": words.percent(value.coverage),
    }
