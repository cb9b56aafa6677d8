"""What a setter has to prepare: the tools due in this shift and the next one, in order of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from swarfline.calendar import ShiftSpan
from swarfline.measure.changes import Stop
from swarfline.measure.forecast import DUE, ToolForecast
from swarfline.plant import Machine
from swarfline.serve.assemble import Assembly
from swarfline.serve.page import words
from swarfline.serve.room import Room
from swarfline.serve.tongue import gettext as _
from swarfline.serve.tool_plan import LOOK_AHEAD_US, LeftOutRow, Planning, plan_machine, stop_at_us

SHIFTS_AHEAD = 2
DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Due:
    """One tool to change at a stop; ``limit`` says when it would reach its limit, with the interval."""

    tool: ToolForecast
    given_up: str
    limit: str
    again: bool


@dataclass(frozen=True, slots=True)
class DueStop:
    """A stop of one machine and the tools to change at it; ``at_us`` None: not known by the clock."""

    machine: Machine
    after_cycles: int
    at_us: int | None
    when: str
    tools: tuple[Due, ...]


@dataclass(slots=True)
class Stint:
    """A shift, or the time until its end where none runs, and the stops in it."""

    title: str
    until_us: int
    stops: list[DueStop] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Blind:
    """A machine whose tools could not be planned for, wholly or in part."""

    machine: Machine
    left_out: tuple[LeftOutRow, ...]
    whole: bool


@dataclass(frozen=True, slots=True)
class DueList:
    """The list: what is past its limit now, stops by shift, those whose time is not known, what is not planned."""

    overdue: list[tuple[Machine, ToolForecast]]
    stints: list[Stint]
    untimed: list[DueStop]
    blind: list[Blind]
    forecasts: list[tuple[Machine, list[ToolForecast]]]
    quiet: list[Machine]
    at: str


def due_list(room: Room, machines: tuple[Machine, ...], most_given_up: Fraction, cautious: bool) -> DueList:
    """What these machines need until the end of the shift after this one; without shifts, within a day."""
    now_us = room.now_us()
    work = Assembly(room, (now_us, now_us), now_us)
    stints = _stints(room, machines, now_us)
    found = DueList([], stints, [], [], [], [], words.moment(now_us, room.zone))
    for machine in machines:
        _add(found, work, machine, Planning(stints[-1].until_us, None, most_given_up, cautious))
    for stint in stints:
        stint.stops.sort(key=lambda s: (s.at_us or 0, words.natural(s.machine.id)))
    return found


def _stints(room: Room, machines: tuple[Machine, ...], now_us: int) -> list[Stint]:
    """The shift that runs or comes next on any of the machines, and the one after it."""
    spans = {s for m in machines for s in room.calendar.shift_spans(m.id, now_us, now_us + LOOK_AHEAD_US)}
    ordered = sorted((s for s in spans if s.end_us > now_us), key=lambda s: (s.end_us, s.start_us))
    chosen: list[ShiftSpan] = []
    for shift in ordered:
        if not chosen or shift.start_us >= chosen[-1].end_us:
            chosen.append(shift)
    if not chosen:
        return [Stint(_("The next 24 hours"), now_us + DAY_US)]
    return [_stint(room, shift, now_us) for shift in chosen[:SHIFTS_AHEAD]]


def _stint(room: Room, shift: ShiftSpan, now_us: int) -> Stint:
    name = _("This shift") if shift.start_us <= now_us else _("Next shift")
    start, end = words.clock(shift.start_us, room.zone, now_us), words.clock(shift.end_us, room.zone)
    return Stint(f"{name}: {shift.name}, {start}–{end}", shift.end_us)


def _add(found: DueList, work: Assembly, machine: Machine, planning: Planning) -> None:
    forecasts = by_pot(work.forecasts(machine.id))
    if not forecasts:
        return
    found.forecasts.append((machine, forecasts))
    found.overdue.extend((machine, tool) for tool in forecasts if tool.state == DUE)
    planned = plan_machine(work, machine.id, planning)
    if planned.left_out or planned.plan is None:
        found.blind.append(Blind(machine, tuple(planned.left_out), planned.plan is None))
    ahead = work.prospect(machine.id)
    stops = [
        _stop(work, machine, stop, planned.tools, stop_at_us(ahead, stop, planned.tools, planning.cautious))
        for stop in (planned.plan.stops if planned.plan else ())
    ]
    _sort_in(found, _again(stops))
    if planned.plan is not None and not stops:
        found.quiet.append(machine)


def _sort_in(found: DueList, stops: list[DueStop]) -> None:
    for stop in stops:
        stint = next((s for s in found.stints if stop.at_us is not None and stop.at_us <= s.until_us), None)
        (found.untimed if stint is None else stint.stops).append(stop)


def _again(stops: list[DueStop]) -> list[DueStop]:
    """A tool that is due for the second time in the list has no forecast of its own yet."""
    seen: set[str] = set()
    told: list[DueStop] = []
    for stop in stops:
        later = (replace(d, limit=words.UNKNOWN, again=True) if d.tool.pot_key in seen else d for d in stop.tools)
        tools = tuple(later)
        seen |= {d.tool.pot_key for d in tools}
        told.append(DueStop(stop.machine, stop.after_cycles, stop.at_us, stop.when, tools))
    return told


def _stop(
    work: Assembly, machine: Machine, stop: Stop, tools: list[tuple[ToolForecast, int]], at_us: int | None
) -> DueStop:
    room = work.room
    at_us = work.now_us if stop.cycle == 0 else at_us
    when = _("now, before the next cycle") if stop.cycle == 0 else words.clock(at_us, room.zone, work.now_us)
    due = [
        Due(
            tools[c.tool][0],
            words.percent(Fraction(c.given_up, tools[c.tool][1]), 0),
            limit_words(room, tools[c.tool][0], work.now_us),
            False,
        )
        for c in stop.changes
    ]
    due.sort(key=lambda d: words.natural(d.tool.pot or d.tool.pot_key))
    return DueStop(machine, stop.cycle, at_us, when, tuple(due))


def by_pot(tools: Sequence[ToolForecast]) -> list[ToolForecast]:
    """Tools in the order of their pots, as people count."""
    return sorted(tools, key=lambda t: words.natural(t.pot or t.pot_key))


def warning_share(tool: ToolForecast) -> float | None:
    """The warning level as a share of the limit."""
    return tool.warning_level / tool.limit if tool.warning_level is not None and tool.limit else None


def limit_words(room: Room, tool: ToolForecast, now_us: int) -> str:
    """When a tool reaches its limit, with the interval that holds the truth in 80 % of the cases."""
    if tool.state == DUE:
        return _("limit reached")
    if tool.limit_at_us is None:
        return words.UNKNOWN
    text = words.clock(tool.limit_at_us, room.zone, now_us)
    low, high = tool.limit_at_low_us, tool.limit_at_high_us
    if low is None and high is None:
        return text
    earliest = words.clock(low, room.zone, now_us)
    latest = _("open") if high is None else words.clock(high, room.zone, now_us)
    return f"{text} ({earliest} – {latest})"


def cycles_words(tool: ToolForecast) -> str:
    """Cycles left, with the interval where known."""
    if tool.consumption_per_cycle == 0:
        return _("not used at present")
    if tool.cycles_left is None:
        return words.UNKNOWN
    text = words.number(tool.cycles_left)
    if tool.cycles_left_low is None or (tool.cycles_left_low, tool.cycles_left_high) == (tool.cycles_left,) * 2:
        return text
    high = "…" if tool.cycles_left_high is None else words.number(tool.cycles_left_high)
    return f"{text} ({words.number(tool.cycles_left_low)} – {high})"
