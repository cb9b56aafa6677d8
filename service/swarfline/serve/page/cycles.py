"""The pages of cycle times: every machine's programs, and one machine's trend, steps in level, spread and list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from swarfline.calendar import Interval, from_us
from swarfline.facts import Cycle
from swarfline.measure.attribution import LevelChart, LevelStep, level_charts, level_steps
from swarfline.measure.ranks import Ranks
from swarfline.measure.trend import Trend, by_program, cycle_trend, quantile
from swarfline.plant import Machine
from swarfline.sentence import N_
from swarfline.serve.assemble import Assembly
from swarfline.serve.level_steps import LevelStepRow, level_step_row
from swarfline.serve.page import cycle_words, plots, words
from swarfline.serve.page.choosing import OWN, Chosen, choose
from swarfline.serve.page.cycle_list import ORDERS, OUTCOMES, Leaf, leaf, order_words, outcome_words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.plots import Beam, Run
from swarfline.serve.page.ribbon import bar, line_at
from swarfline.serve.planned import AgainstShape, PlannedRow, plan_says, planned_rows
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.series import choose as choose_made
from swarfline.serve.series import thin
from swarfline.serve.spans import DAY, Asked
from swarfline.serve.times import show
from swarfline.serve.tongue import gettext as _

router = APIRouter()

DAYS = 7
"""Days that the pages are about unless told otherwise: a level lasts some cycles, a change of it some days."""
DAY_US = 86_400_000_000
LONGEST_US = 62 * DAY_US
NEWEST = 50
"""Cycles that are held against all before them on the page of all machines."""
CHANCE = 0.01
"""A drift is named where chance alone is less likely than that (own choice)."""
SHOWN = 0.5
"""Changes of the median below so many % are not called a drift; smaller level steps are not listed either."""
BUCKETS = 400
KEPT = ("program", "part", "outcome", "order")


def span_of(request: Request, room: Room, kept: tuple[str, ...] = (), machine: str | None = None) -> Chosen:
    """The span of a page about cycles: what its address says, else the last seven days up to the present."""
    found = choose(request, room, DAY, kept, machine)
    if not any(request.query_params.get(name) for name in ("span", "from", "at")):
        now_us = found.asked.now_us
        return replace(found, kind=OWN, asked=Asked(now_us - DAYS * DAY_US, now_us, now_us, now_us))
    if found.asked.end_us - found.asked.start_us > LONGEST_US:
        raise wrong("from", N_("the span is longer than 62 days"), N_("a span of at most 62 days"))
    return found


@dataclass(frozen=True, slots=True)
class MadeLine:
    """A program and part of a machine in the span; ``lean`` is −1 or 1 where its newest cycles drift."""

    machine: Machine
    program: str
    part: str
    trend: Trend
    planned_s: float | None
    newest_s: float | None
    change_s: float | None
    lean: int
    address: str


@router.get("/cycles")
def all_cycles(request: Request, room: InRoom) -> Response:
    """Which machine ran which program, how long its cycles take, and whether they drift."""
    chosen = span_of(request, room)
    lines = [line for machine in chosen.machines for line in _made_lines(chosen, machine)]
    found = {line.machine.id for line in lines}
    idle = [m for m in chosen.machines if m.id not in found]
    work = Assembly(room, chosen.asked.interval, chosen.asked.now_us)
    coverage = work.coverage([m.id for m in chosen.machines])
    return _answer(request, "cycles.html", chosen=chosen, lines=lines, idle=idle, coverage=coverage, newest=NEWEST)


def _made_lines(chosen: Chosen, machine: Machine) -> list[MadeLine]:
    room = chosen.room
    cycles = room.queries.cycles(machine.id, *chosen.asked.interval, ("energy_j", "tools", "strip"))
    return [_made_line(chosen, machine, group) for group in by_program(cycles).values()]


def _made_line(chosen: Chosen, machine: Machine, cycles: Sequence[Cycle]) -> MadeLine:
    trend, one = cycle_trend(cycles), cycles[-1]
    newest, change, lean = _lately(trend)
    asked = {**chosen.moments, "program": one.program, "part": one.part}
    address = f"/machines/{machine.id}/cycles?{urlencode(asked)}"
    planned = _planned_s(chosen.room, one.part)
    return MadeLine(machine, one.program, one.part, trend, planned, newest, change, lean, address)


def _lately(trend: Trend) -> tuple[float | None, float | None, int]:
    """Median of the newest cycles, by how much it differs from those before, and whether that is a drift.

    A hint and no proof: cycles that are like those before them make chance look smaller than it is.
    """
    before, newest = trend.values_s[:-NEWEST], trend.values_s[-NEWEST:]
    if len(before) < NEWEST:
        return None, None, 0
    usual, now = (quantile(sorted(values), 0.5) for values in (before, newest))
    change = now - usual
    drifts = abs(change) * 100 >= SHOWN * usual and Ranks.of(before, newest).p < CHANCE
    return now, change, (change > 0) - (change < 0) if drifts else 0


def _planned_s(room: Room, part: str) -> float | None:
    plan = room.plans.get(part)
    return plan.planned_cycle_us / 1_000_000 if plan else None


@dataclass(frozen=True, slots=True)
class ShareLine:
    """What one step or tool adds to a step in level."""

    name: str
    change_s: float | None
    beam: Beam


@dataclass(frozen=True, slots=True)
class StepBlock:
    """A step in level and what accounts for it."""

    at: str
    last_before: str
    row: LevelStepRow
    steps: list[ShareLine]
    tools: list[ShareLine]


@dataclass(frozen=True, slots=True)
class AgainstLine:
    """Planned against measured of a step or a tool, as figures and as a bar with a mark."""

    name: str
    found: AgainstShape
    bar: str
    mark: str


@dataclass(frozen=True, slots=True)
class DayLine:
    """The steady cycles of one day."""

    day: str
    trend: Trend


@dataclass(frozen=True, slots=True)
class CycleLine:
    """One cycle of the list."""

    cycle: Cycle
    begun: str
    change_s: float | None
    outcome: str
    address: str


@router.get("/machines/{machine_id}/cycles")
def machine_cycles(request: Request, machine: OneMachine, room: InRoom) -> Response:
    """One machine's cycles of one program and part: trend, steps in level, spread, plan, list."""
    view = _View(request, room, machine, span_of(request, room, KEPT, machine.id))
    return _answer(request, "cycles_machine.html", **view.content())


class _View:
    """The page of one machine's cycles; figures are those of the API."""

    def __init__(self, request: Request, room: Room, machine: Machine, chosen: Chosen) -> None:
        self.room, self.machine, self.chosen = room, machine, chosen
        self.asked = {k: v for k, v in request.query_params.items() if v}
        self.span: Interval = chosen.asked.interval
        self.work = Assembly(room, self.span, chosen.asked.now_us)
        self.every = self.work.cycles(machine.id)
        self.cycles = choose_made(self.every, self.asked.get("program"), self.asked.get("part"))
        self.trend = cycle_trend(self.cycles)
        self.found = level_steps(self.cycles, SHOWN / 100)
        self.levels = level_charts(self.trend, self.found)
        self.planned_s = _planned_s(room, self.cycles[-1].part) if self.cycles else None
        self.planned_near = plots.near(self.trend.values_s, self.planned_s)

    def content(self) -> dict[str, Any]:
        """Everything that the template shows."""
        listed = leaf(self.cycles, self.asked)
        bins = plots.frame([self.trend.values_s], (self.planned_near,))
        return {
            "machine": self.machine,
            "chosen": self.chosen,
            "groups": self._groups(),
            "one": self.cycles[-1] if self.cycles else None,
            "trend": self.trend,
            "planned_s": self.planned_s,
            "coverage": self.work.coverage([self.machine.id]),
            "levels": self.levels,
            "newest": self.levels[-1].chart if self.levels else None,
            "beyond": sum(len(level.chart.beyond) for level in self.levels),
            "run": (run := self._run()),
            "paths": self._paths(run),
            "chart": self._chart(),
            "days": self._days(),
            "steps": [self._step(step) for step in self.found],
            "bins": bins,
            "histogram": plots.histogram(self.trend.values_s, bins) if bins else None,
            "against": self._against(),
            "listed": listed,
            "lines": self._lines(listed),
            "outcomes": [(name, outcome_words(name)) for name in OUTCOMES],
            "orders": [(name, order_words(name)) for name in ORDERS],
            "csv": f"/api/v1/machines/{self.machine.id}/cycles.csv?{urlencode(self.chosen.moments)}",
        }

    def _groups(self) -> list[tuple[str, str, bool, int]]:
        """Name, address, whether it is the one shown, and number of cycles, of each program and part."""
        shown = (self.cycles[-1].program, self.cycles[-1].part) if self.cycles else None
        return [
            (
                cycle_words.made(program, part),
                self.chosen.address(program=program, part=part, outcome=None, order=None),
                (program, part) == shown,
                len(group),
            )
            for (_machine, program, part), group in by_program(self.every).items()
        ]

    def _run(self) -> Run | None:
        kept = thin(self.trend.starts_us, self.trend.values_s, self.span, BUCKETS)
        times = [self.trend.starts_us[i] for i in kept]
        charts = [level.chart for level in self.levels]
        levels = (*(v for c in charts for v in (*(c.limits or ()), c.centre)), self.planned_near)
        places = plots.shares_of_time(times, self.span)
        return plots.run(places, [self.trend.values_s[i] for i in kept], levels)

    def _paths(self, run: Run | None) -> dict[str, str]:
        """Means and limits of each level over its own time, by the class of their lines."""
        means: list[str] = []
        limits: list[str] = []
        if run is None:
            return {}
        for level in self.levels:
            left, right = plots.shares_of_time((level.start_us, level.last_us), self.span)
            means.append(run.level(level.chart.centre, left, right))
            limits += [run.level(value, left, right) for value in level.chart.limits or ()]
        return {"k-mean": "".join(means), "k-limit": "".join(limits)}

    def _chart(self) -> dict[str, Any]:
        """What the chart that zooms needs: where its cycles come from, and the steps in level to mark."""
        if not self.cycles:
            return {}
        one = self.cycles[-1]
        asked = {**self.chosen.moments, "program": one.program, "part": one.part}
        marks = [
            {
                "at_s": step.at_us / 1e6,
                "text": cycle_words.change(float(step.size_us) / 1e6, 1),
                "since_s": step.since_us / 1e6,
                "until_s": step.until_us / 1e6,
                "before_s": float(step.before_us) / 1e6,
                "after_s": float(step.after_us) / 1e6,
            }
            for step in self.found
        ]
        series = f"/api/v1/machines/{self.machine.id}/cycles/series?{urlencode(asked)}"
        return {
            "series": series,
            "marks": marks,
            "planned_s": self.planned_near,
            "levels": [_level(level) for level in self.levels],
            "words": _chart_words(len(self.levels)),
        }

    def _days(self) -> list[DayLine]:
        zone, lines = self.room.zone, []
        day, last = (from_us(us, zone).date() for us in (self.span[0], self.span[1] - 1))
        while day <= last:
            start, end = self.room.calendar.day_span(day)
            trend = cycle_trend([c for c in self.cycles if start <= c.start_us < end])
            if trend.count:
                lines.append(DayLine(words.day(day), trend))
            day += timedelta(days=1)
        return lines

    def _step(self, step: LevelStep) -> StepBlock:
        row = level_step_row(self.room, self.cycles[-1], step)
        steps = {name.removesuffix("_s"): value for name, value in row.steps.model_dump().items()}
        tools = [(cycle_words.tool(t.tool), t.difference_s) for t in row.tools]
        named: list[tuple[str, float | None]] = [*tools, (_("no tool known"), row.no_tool_s)]
        zone = self.room.zone
        return StepBlock(
            words.moment(step.at_us, zone),
            words.moment(step.last_us, zone),
            row,
            _share_lines([(cycle_words.step(name), value) for name, value in steps.items() if value is not None]),
            _share_lines([(name, value) for name, value in named if value]) if tools else [],
        )

    def _against(self) -> tuple[PlannedRow, list[AgainstLine], list[AgainstLine], list[str]] | None:
        if not self.cycles:
            return None
        part = self.cycles[-1].part
        row = next((r for r in planned_rows(self.room, self.machine, self.cycles) if r.part == part), None)
        if row is None:
            return None
        steps = [(cycle_words.step(s.step), s) for s in row.steps]
        tools = [(cycle_words.tool(t.tool), t) for t in row.tools]
        notes = [words.say(one) for one in plan_says(self.room, self.machine, part)]
        return row, _against_lines([*steps]), _against_lines([*tools]), notes

    def _lines(self, listed: Leaf) -> list[CycleLine]:
        zone, median = self.room.zone, self.trend.median_s
        return [
            CycleLine(
                cycle,
                words.moment(cycle.start_us, zone),
                None if median is None else cycle.duration_us / 1e6 - median,
                cycle_words.outcome(cycle),
                cycle_address(self.room, cycle),
            )
            for cycle in listed.cycles
        ]


def _level(level: LevelChart) -> dict[str, float | None]:
    """The lines of one level as the chart that zooms takes them."""
    low, high = level.chart.limits or (None, None)
    return {
        "since_s": level.start_us / 1e6,
        "until_s": level.last_us / 1e6,
        "centre_s": level.chart.centre,
        "lcl_s": low,
        "ucl_s": high,
    }


def _chart_words(levels: int) -> dict[str, str | dict[str, str]]:
    """What the chart that zooms says; figures stand where {} is. ``library``: what its library says else."""
    return {
        "axis": _("cycle time in s"),
        "mean": _("Line: mean {} s, the centre line.")
        if levels < 2
        else _("Line: mean of each level, of the newest {} s, the centre line."),
        "limits": _("Dashed: limits of single cycles around it, {} to {} s."),
        "planned": _("Dotted: planned, {} s."),
        "marks": _("Upright: steps in level."),
        "open": _("A point opens its cycle."),
        "failed": _("The chart could not be loaded; the table tells the same."),
        "library": {
            "Zoom": _("Zoom"),
            "Pan": _("Pan"),
            "Zoom in": _("Zoom in"),
            "Zoom out": _("Zoom out"),
            "Autoscale": _("Autoscale"),
            "Reset axes": _("Reset axes"),
            "Download plot as a PNG": _("Download plot as a PNG"),
            "Double-click to zoom back out": _("Double-click to zoom back out"),
        },
    }


def cycle_address(room: Room, cycle: Cycle) -> str:
    """The page of a single cycle."""
    return f"/machines/{cycle.machine}/cycles/at?{urlencode({'start': show(cycle.start_us, room.zone)})}"


def _share_lines(named: Sequence[tuple[str, float | None]]) -> list[ShareLine]:
    beams = plots.beams([(value, None, None) for _name, value in named])
    return [ShareLine(name, value, beam) for (name, value), beam in zip(named, beams, strict=True)]


def _against_lines(named: Sequence[tuple[str, AgainstShape]]) -> list[AgainstLine]:
    known = [v for _name, found in named for v in (found.planned_s, found.measured_s) if v is not None]
    top = max(known, default=0.0) or 1.0
    return [
        AgainstLine(
            name,
            found,
            bar(None if found.measured_s is None else found.measured_s / top),
            "" if found.planned_s is None else line_at(found.planned_s / top),
        )
        for name, found in named
    ]


def _answer(request: Request, template: str, **values: Any) -> Response:
    return pages_of(request.app).answer(template, cycle_words=cycle_words, plots=plots, **values)
