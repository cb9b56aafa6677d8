"""One machine and a span of time: everything that its page shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode, urlsplit

from fastapi import Request

from swarfline.calendar import Interval, from_us
from swarfline.capability import can_tell
from swarfline.entries import SAID_KINDS, Entry, Judgement, Note, StopReason, Target
from swarfline.facts import CONDITIONS, UNOBSERVED, Alarm, Condition, Cycle, Gap, ToolLife
from swarfline.measure.elements import TimeElements, time_elements
from swarfline.measure.energy import JOULES_PER_KWH, Demand, EnergySums, demand, peak
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.oee import OeeSums, oee
from swarfline.measure.trend import Trend, by_program, cycle_trend
from swarfline.plant import Machine
from swarfline.sentence import N_
from swarfline.serve.assemble import Assembly
from swarfline.serve.oee import oee_figures
from swarfline.serve.page import words
from swarfline.serve.page.amounts import hints
from swarfline.serve.page.board import now_cells, outlook, shift_or_day
from swarfline.serve.page.choosing import OWN, Chosen, choose, moment
from swarfline.serve.page.naming import Stops, stops_of
from swarfline.serve.page.ribbon import hours
from swarfline.serve.page.running import Aim, left_cells, lot_aim, target_aim, usual_times
from swarfline.serve.page.timeline_view import TimelineView, timeline, window_of
from swarfline.serve.page.tools_due import by_pot, warning_share
from swarfline.serve.presence import SILENCE_US, presence
from swarfline.serve.problems import wrong
from swarfline.serve.room import Room
from swarfline.serve.spans import DAY, Asked
from swarfline.serve.targets import parts_known
from swarfline.serve.times import parse_day
from swarfline.serve.tongue import gettext as _

MOST_ROWS = 12
"""Rows of the lists of alarms and gaps on the page; the API has all of them."""
MOST_ENTRIES = 40


@dataclass(frozen=True, slots=True)
class ConditionLine:
    """A condition's time of the day."""

    condition: str
    planned: str
    outside: str
    share: float | None


@dataclass(frozen=True, slots=True)
class HourLine:
    """The steady cycles of one hour."""

    hour: str
    count: int
    median: str
    fastest: str
    slowest: str


@dataclass(frozen=True, slots=True)
class TrendBlock:
    """One program's trend: its figures, its table by hour, and where the chart's data are."""

    program: str
    part: str
    trend: Trend
    planned: str
    hours: list[HourLine]
    data_url: str


@dataclass(frozen=True, slots=True)
class ToolLine:
    """A tool now."""

    tool: ToolForecast
    used: str
    left: str
    share: float | None
    warning_share: float | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """An alarm or a gap."""

    start: str
    end: str
    length: str
    what: str
    open: bool


@dataclass(frozen=True, slots=True)
class EntryLine:
    """An entry as it is listed."""

    entry: Entry
    kind: str
    when: str
    what: str
    entered: str
    undone: str


@dataclass(frozen=True, slots=True)
class MachineView:
    """The page's content; times and figures as words."""

    machine: Machine
    chosen: Chosen
    here: str
    present: bool
    cells: dict[str, str]
    lot: Aim | None
    target: Aim | None
    timeline: TimelineView
    stops: Stops
    entries: list[EntryLine]
    parts: list[str]
    lines: list[ConditionLine]
    figures: dict[str, str]
    hints: list[str]
    trends: list[TrendBlock]
    tools: list[ToolLine]
    ended: list[tuple[ToolLife, str]]
    energy: list[tuple[str, str]]
    energy_told: bool
    alarms: list[Stretch]
    gaps: list[Stretch]
    missing_us: int
    never: bool
    csv: dict[str, str]

    @property
    def day(self) -> bool:
        """Whether the page is about a day."""
        return self.chosen.kind == DAY

    @property
    def file(self) -> str:
        """What names a file about this machine and span."""
        start = from_us(self.chosen.asked.start_us, self.chosen.room.zone)
        return f"{self.machine.id}-{start:%Y-%m-%d}"

    def none_of(self, what: str) -> str:
        """What stands where nothing is listed; a time that nobody watched is no time without events."""
        if self.never:
            return _("Never observed on this day.") if self.day else _("Never observed in this time.")
        if self.missing_us > SILENCE_US:
            missing = words.length(self.missing_us)
            return _("%(none)s on record, but %(length)s of this time were not observed.") % {
                "none": what,
                "length": missing,
            }
        return _("%s on this day.") % what if self.day else _("%s in this time.") % what


def chosen_of(request: Request, room: Room, machine: Machine) -> Chosen:
    """The span that the page is about; ends the request with 422 for one that cannot be shown."""
    day = request.query_params.get("day")
    if day is None:
        chosen = choose(request, room, DAY, machine=machine.id)
    else:
        chosen = Chosen(room, request.url.path, _day(room, day), DAY, None, None, (machine,))
    if chosen.kind == OWN and request.query_params.get("to", "").strip():
        # the timeline of a window reaches as far as was asked for, the figures up to the present
        until_us = moment("to", request.query_params["to"], room)
        chosen = replace(chosen, asked=replace(chosen.asked, until_us=until_us))
    window_of(chosen.asked.start_us, chosen.asked.until_us, chosen.asked.now_us)
    return chosen


def _day(room: Room, text: str) -> Asked:
    now_us = room.now_us()
    try:
        day = parse_day(text)
    except ValueError as problem:
        raise wrong("day", str(problem), N_("a day that has begun")) from None
    if day > room.calendar.day_of(now_us):
        raise wrong("day", N_("has not begun"), N_("a day up to today"))
    start, end = room.calendar.day_span(day)
    return Asked(start, max(start + 1, min(end, now_us)), now_us, end, DAY)


def view(room: Room, machine: Machine, chosen: Chosen) -> MachineView:
    """What the page of a machine shows of a span."""
    return _View(room, machine, chosen).build()


class _View:
    def __init__(self, room: Room, machine: Machine, chosen: Chosen) -> None:
        self.room, self.machine, self.chosen = room, machine, chosen
        asked = chosen.asked
        self.span, self.now_us = asked.interval, asked.now_us
        self.whole = (asked.start_us, asked.until_us)
        self.work = Assembly(room, self.span, self.now_us)

    def build(self) -> MachineView:
        work, name = self.work, self.machine.id
        alarms = self.room.queries.facts(Alarm, name, *self.span)
        gaps = self.room.queries.facts(Gap, name, *self.span)
        elements = time_elements(work.conditions(name), work.planned(name), self.span)
        missing_us = _missing_us(elements, self.span)
        sums = work.oee_sums(name, [self.span])
        present = self.span[1] == self.now_us
        return MachineView(
            machine=self.machine,
            chosen=self.chosen,
            here=self._here(),
            present=present,
            cells=self._now(),
            lot=lot_aim(work, name) if present else None,
            target=self._target() if present else None,
            timeline=timeline(self.room, self.machine, self.whole, work),
            stops=stops_of(work, name),
            entries=self._entries(),
            parts=parts_known(self.room, name),
            lines=_lines(elements, self.span),
            figures=_figures(sums, work.is_seen(name)),
            hints=hints(oee_figures(sums)),
            trends=self._trends(work.cycles(name)),
            tools=[_tool(t, self.room, self.now_us) for t in by_pot(work.forecasts(name))],
            ended=self._ended(),
            energy=self._energy(),
            energy_told=can_tell(self.room.plant, self.machine, "energy"),
            alarms=[self._stretch(a, f"{a.code} {a.text}".strip()) for a in alarms[-MOST_ROWS:]],
            gaps=[self._stretch(g, words.gap(g.reason)) for g in gaps[-MOST_ROWS:]],
            missing_us=missing_us,
            never=missing_us == self.span[1] - self.span[0],
            csv=self._csv(),
        )

    def _here(self) -> str:
        """The address to come back to from a form: of the same span, without what a form left there."""
        chosen = self.chosen
        return f"/machines/{self.machine.id}?{urlsplit(chosen.address()).query}"

    def _now(self) -> dict[str, str]:
        seen = presence(self.room, self.machine.id)
        usual = usual_times(self.work.last_cycles(self.machine.id))
        return {
            **now_cells(self.room, seen, usual, self.now_us),
            **left_cells(seen, usual, self.now_us),
        }

    def _target(self) -> Aim | None:
        asked = shift_or_day(self.room, [self.machine.id], self.now_us)
        work = Assembly(self.room, asked.interval, self.now_us)
        return target_aim(work, self.machine.id, asked, work.pace(self.machine.id, asked.until_us))

    def _entries(self) -> list[EntryLine]:
        """Entries of every kind about the span, the newest first."""
        found = [e for kind in SAID_KINDS for e in self.room.queries.entries(kind, self.machine.id, *self.whole)]
        newest = sorted(found, key=lambda e: -e.number)
        return [entry_line(self.room, entry, self.now_us) for entry in newest[:MOST_ENTRIES]]

    def _csv(self) -> dict[str, str]:
        """Addresses of the lists of this span as CSV; the tools in the machine have no span."""
        asked = urlencode(self.chosen.moments)
        base = f"/api/v1/machines/{self.machine.id}"
        spanned = {name: f"{base}/{name}.csv?{asked}" for name in ("cycles", "stops", "tool-lives")}
        return {**spanned, "tools": f"{base}/tools.csv"}

    def _trends(self, cycles: Sequence[Cycle]) -> list[TrendBlock]:
        groups = by_program(cycles)
        return [self._trend(program, part, group) for (_, program, part), group in groups.items()]

    def _trend(self, program: str, part: str, cycles: Sequence[Cycle]) -> TrendBlock:
        plan = self.room.plans.get(part)
        asked = {**self.chosen.moments, "program": program, "part": part}
        return TrendBlock(
            program,
            part,
            cycle_trend(cycles),
            words.seconds(plan.planned_cycle_us / 1_000_000 if plan else None),
            self._hours(cycles),
            f"/api/v1/machines/{self.machine.id}/cycles/series?{urlencode(asked)}",
        )

    def _hours(self, cycles: Sequence[Cycle]) -> list[HourLine]:
        lines = []
        for start, end in hours(self.span):
            # a cycle that began before the span counts in its first hour, as it does in the trend of all
            trend = cycle_trend([c for c in cycles if start <= max(c.start_us, self.span[0]) < end])
            if trend.count:
                lines.append(
                    HourLine(
                        words.clock(start, self.room.zone),
                        trend.count,
                        words.seconds(trend.median_s),
                        words.seconds(trend.minimum_s),
                        words.seconds(max(trend.values_s)),
                    )
                )
        return lines

    def _ended(self) -> list[tuple[ToolLife, str]]:
        lives = self.room.queries.facts(ToolLife, self.machine.id, *self.span)
        ended = [life for life in lives if not life.open and life.end_us <= self.span[1]]
        # they come by their beginnings
        in_order = sorted(ended, key=lambda life: life.end_us)
        return [(life, words.clock(life.end_us, self.room.zone)) for life in in_order]

    def _energy(self) -> list[tuple[str, str]]:
        name = self.machine.id
        sums = self.work.energy(name, [self.span])
        top = peak(demand(self.work.energies(name), self.span))
        return _energy_lines(sums, top, self.room)

    def _stretch(self, fact: Alarm | Gap | Condition, what: str) -> Stretch:
        return Stretch(
            words.clock(fact.start_us, self.room.zone, self.span[0]),
            words.clock(fact.end_us, self.room.zone, self.span[0]),
            words.length(fact.end_us - fact.start_us),
            what,
            fact.open,
        )


def _missing_us(elements: TimeElements, span: Interval) -> int:
    """How much of the span nobody observed, told as such or not told at all."""
    observed = (elements.inside(c) + elements.outside(c) for c in CONDITIONS if c != UNOBSERVED)
    return span[1] - span[0] - sum(observed)


def _lines(elements: TimeElements, span: Interval) -> list[ConditionLine]:
    """A line per condition; together they are the whole span, so what nothing tells of counts as unobserved."""
    length = span[1] - span[0]
    untold = length - sum(elements.inside_us) - sum(elements.outside_us)
    lines = []
    for condition in CONDITIONS:
        inside = elements.inside(condition)
        outside = elements.outside(condition) + (untold if condition == UNOBSERVED else 0)
        lines.append(
            ConditionLine(condition, words.length(inside), words.length(outside), (inside + outside) / length)
        )
    return lines


def _figures(sums: OeeSums, seen: bool) -> dict[str, str]:
    """Figures as words; of a span that nobody watched no part is known, which is not zero parts."""
    found = {name: words.percent(f.exact) for name, f in oee(sums).items()}
    return {
        **found,
        "coverage": words.percent(sums.coverage),
        "estimate": "yes" if sums.estimate else "",
        **{n: words.number(getattr(sums, n) if seen else None) for n in ("produced", "good", "scrap", "unjudged")},
        "planned": words.length(sums.planned_us),
        "outside": words.length(sums.producing_outside_us) if sums.producing_outside_us else "",
        "production": words.length(sums.production_us if seen else None),
    }


def _tool(tool: ToolForecast, room: Room, now_us: int) -> ToolLine:
    lives = {"used": words.life(tool.used, tool.basis), "limit": words.life(tool.limit, tool.basis)}
    used = _("%(used)s of %(limit)s") % lives
    return ToolLine(tool, used, outlook(room, tool, now_us), tool.share_used, warning_share(tool))


def _energy_lines(sums: EnergySums, top: Demand | None, room: Room) -> list[tuple[str, str]]:
    if sums.total_j is None:
        return []
    lines = [(words.condition(c), _kwh(j)) for c, j in sorted(sums.by_condition_j.items(), key=lambda i: -i[1])]
    lines.append((_("together"), _kwh(sums.total_j)))
    if sums.good:
        lines.append((_("per good part"), f"{words.number(sums.total_j / JOULES_PER_KWH / sums.good, 3)} kWh"))
    if top is not None and top.mean_w is not None:
        at = words.clock(top.start_us, room.zone)
        lines.append((_("highest quarter hour, from %s") % at, f"{words.number(top.mean_w / 1000, 2)} kW"))
    lines.append((_("share of the time known"), words.percent(sums.coverage)))
    return lines


def _kwh(joules: float) -> str:
    return f"{words.number(joules / JOULES_PER_KWH, 2)} kWh"


def entry_line(room: Room, entry: Entry, now_us: int) -> EntryLine:
    """An entry in words."""
    zone, undone = room.zone, entry.undone
    start = words.clock(entry.start_us, zone, now_us)
    when = f"{start}–{words.clock(entry.end_us, zone, entry.start_us)}" if _lasts(entry) else start
    kind, what = _told(entry)
    gone = "" if undone is None else f"{words.clock(undone.at_us, zone, now_us)}, {undone.who}"
    return EntryLine(entry, kind, when, what, words.clock(entry.entered_us, zone, now_us), gone)


def _lasts(entry: Entry) -> bool:
    """Whether an entry is about more than a moment."""
    return entry.end_us - entry.start_us > 1


def _told(entry: Entry) -> tuple[str, str]:
    """The kind of an entry and what it says, in words."""
    match entry.said:
        case StopReason(reason):
            return _("Stop"), reason
        case Note(text):
            return _("Note"), text
        case Target(part, quantity):
            return _("Target"), f"{words.number(quantity)} {part}".strip()
        case Judgement(part, judged, quantity):
            return judged_words(judged), f"{words.number(quantity)} {part}".strip()


def judged_words(judged: str) -> str:
    """What parts were judged to be, in words."""
    return {"scrap": _("Scrap"), "rework": _("Rework"), "good": _("Good after all")}[judged]
