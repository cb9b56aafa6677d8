"""One machine's day: everything that its page shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import urlencode

from swarfline.calendar import Interval
from swarfline.capability import can_tell
from swarfline.facts import CONDITIONS, UNOBSERVED, Alarm, Condition, Cycle, Gap, ToolLife
from swarfline.measure.elements import TimeElements, time_elements
from swarfline.measure.energy import JOULES_PER_KWH, Demand, EnergySums, demand, peak
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.oee import OeeSums, oee
from swarfline.measure.stops import Stop
from swarfline.measure.trend import Trend, by_program, cycle_trend
from swarfline.plant import Machine
from swarfline.serve.assemble import Assembly
from swarfline.serve.page import words
from swarfline.serve.page.board import now_cells, outlook
from swarfline.serve.page.ribbon import hours, ribbon, ticks
from swarfline.serve.presence import SILENCE_US, presence
from swarfline.serve.problems import wrong
from swarfline.serve.room import Room
from swarfline.serve.times import show

MOST_ROWS = 12
"""Rows of the lists of stops, alarms and gaps on the page; the API has all of them."""


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
    """A stop, an alarm or a gap."""

    start: str
    end: str
    length: str
    what: str
    open: bool


@dataclass(frozen=True, slots=True)
class MachineDay:
    """The page's content; times and figures as words."""

    machine: Machine
    day: date
    today: bool
    title: str
    before: date
    after: date | None
    cells: dict[str, str]
    ribbon: dict[str, str]
    planned: str
    alarm_ticks: str
    gap_ticks: str
    hours: list[str]
    lines: list[ConditionLine]
    figures: dict[str, str]
    trends: list[TrendBlock]
    tools: list[ToolLine]
    ended: list[tuple[ToolLife, str]]
    energy: list[tuple[str, str]]
    energy_told: bool
    stops: list[Stretch]
    alarms: list[Stretch]
    gaps: list[Stretch]
    missing_us: int
    never: bool
    csv: dict[str, str]

    def none_of(self, what: str) -> str:
        """What stands where nothing is listed; a time that nobody watched is no time without events."""
        if self.never:
            return "Never observed on this day."
        if self.missing_us > SILENCE_US:
            return f"No {what} is on record, but {words.length(self.missing_us)} of this day were not observed."
        return f"No {what} on this day."


def view(room: Room, machine: Machine, chosen: date | None) -> MachineDay:
    """The day of a machine, by default today; ends the request with 422 for a day that has not begun."""
    now_us = room.now_us()
    today = room.calendar.day_of(now_us)
    day = chosen or today
    if day > today:
        raise wrong("day", "has not begun", "a day up to today")
    whole = room.calendar.day_span(day)
    span = (whole[0], max(whole[0] + 1, min(whole[1], now_us)))
    return _View(room, machine, day, today, whole, span, now_us).build()


class _View:
    def __init__(
        self, room: Room, machine: Machine, day: date, today: date, whole: Interval, span: Interval, now_us: int
    ) -> None:
        self.room, self.machine, self.day, self.today = room, machine, day, today
        self.whole, self.span, self.now_us = whole, span, now_us
        self.work = Assembly(room, span, now_us)

    def build(self) -> MachineDay:
        work, name, whole = self.work, self.machine.id, self.whole
        alarms = self.room.queries.facts(Alarm, name, *self.span)
        gaps = self.room.queries.facts(Gap, name, *self.span)
        planned = self.room.calendar.planned(name, *whole)
        elements = time_elements(work.conditions(name), work.planned(name), self.span)
        missing_us = _missing_us(elements, self.span)
        return MachineDay(
            machine=self.machine,
            day=self.day,
            today=self.day == self.today,
            title=words.day(self.day),
            before=self.day - timedelta(days=1),
            after=self.day + timedelta(days=1) if self.day < self.today else None,
            cells=now_cells(self.room, presence(self.room, name), None, self.now_us),
            ribbon=ribbon(work.conditions(name), whole, self.span[1]),
            planned=ticks(planned, whole),
            alarm_ticks=ticks([(a.start_us, a.end_us) for a in alarms], whole),
            gap_ticks=ticks([(g.start_us, g.end_us) for g in gaps], whole),
            hours=[words.clock(start, self.room.zone)[:2] for start, _ in hours(whole)],
            lines=_lines(elements, self.span),
            figures=_figures(work.oee_sums(name, [self.span])),
            trends=self._trends(work.cycles(name)),
            tools=[_tool(t, self.room, self.now_us) for t in _by_pot(work.forecasts(name))],
            ended=self._ended(),
            energy=self._energy(),
            energy_told=can_tell(self.room.plant, self.machine, "energy"),
            stops=self._stops(work.stops(name, self.span)),
            alarms=[self._stretch(a, f"{a.code} {a.text}".strip()) for a in alarms[-MOST_ROWS:]],
            gaps=[self._stretch(g, g.reason) for g in gaps[-MOST_ROWS:]],
            missing_us=missing_us,
            never=missing_us == self.span[1] - self.span[0],
            csv=self._csv(),
        )

    def _csv(self) -> dict[str, str]:
        """Addresses of the lists of this span as CSV; the tools in the machine have no span."""
        asked = urlencode(self._asked())
        base = f"/api/v1/machines/{self.machine.id}"
        spanned = {name: f"{base}/{name}.csv?{asked}" for name in ("cycles", "stops", "tool-lives")}
        return {**spanned, "tools": f"{base}/tools.csv"}

    def _asked(self) -> dict[str, str]:
        return {"from": show(self.span[0], self.room.zone), "to": show(self.span[1], self.room.zone)}

    def _trends(self, cycles: Sequence[Cycle]) -> list[TrendBlock]:
        groups = by_program(cycles)
        return [self._trend(program, part, group) for (_, program, part), group in groups.items()]

    def _trend(self, program: str, part: str, cycles: Sequence[Cycle]) -> TrendBlock:
        plan = self.room.plans.get(part)
        asked = {**self._asked(), "program": program, "part": part}
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
            trend = cycle_trend([c for c in cycles if start <= c.start_us < end])
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

    def _stops(self, found: Sequence[Stop]) -> list[Stretch]:
        longest = sorted(found, key=lambda s: -s.length_us)[:MOST_ROWS]
        return [
            Stretch(
                words.clock(s.start_us, self.room.zone, self.span[0]),
                words.clock(s.end_us, self.room.zone, self.span[0]),
                words.length(s.length_us),
                words.condition(s.condition) + (f": {s.reason}" if s.reason else ""),
                s.open,
            )
            for s in longest
        ]

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


def _figures(sums: OeeSums) -> dict[str, str]:
    found = {name: words.percent(f.exact) for name, f in oee(sums).items()}
    return {
        **found,
        "coverage": words.percent(sums.coverage),
        "estimate": "yes" if sums.estimate else "",
        "produced": words.number(sums.produced),
        "good": words.number(sums.good),
        "scrap": words.number(sums.scrap),
        "unjudged": words.number(sums.unjudged),
        "planned": words.length(sums.planned_us),
        "busy": words.length(sums.planned_busy_us),
        "production": words.length(sums.production_us),
    }


def _by_pot(tools: Sequence[ToolForecast]) -> list[ToolForecast]:
    return sorted(tools, key=lambda t: words.natural(t.pot or t.pot_key))


def _tool(tool: ToolForecast, room: Room, now_us: int) -> ToolLine:
    warning = tool.warning_level / tool.limit if tool.limit and tool.warning_level is not None else None
    used = f"{words.life(tool.used, tool.basis)} of {words.life(tool.limit, tool.basis)}"
    return ToolLine(tool, used, outlook(room, tool, now_us), tool.share_used, warning)


def _energy_lines(sums: EnergySums, top: Demand | None, room: Room) -> list[tuple[str, str]]:
    if sums.total_j is None:
        return []
    lines = [(words.condition(c), _kwh(j)) for c, j in sorted(sums.by_condition_j.items(), key=lambda i: -i[1])]
    lines.append(("together", _kwh(sums.total_j)))
    if sums.good:
        lines.append(("per good part", f"{words.number(sums.total_j / JOULES_PER_KWH / sums.good, 3)} kWh"))
    if top is not None and top.mean_w is not None:
        at = words.clock(top.start_us, room.zone)
        lines.append((f"highest quarter hour, from {at}", f"{words.number(top.mean_w / 1000, 2)} kW"))
    lines.append(("share of the time known", words.percent(sums.coverage)))
    return lines


def _kwh(joules: float) -> str:
    return f"{words.number(joules / JOULES_PER_KWH, 2)} kWh"
