"""From the store's facts to the inputs of measure, for the machines and the span of one request.

Facts are read once per machine and kind, with a margin of a day where a stop may cross the span's edges.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import reduce
from typing import TypeVar

from swarfline.calendar import Interval, intersect, merge
from swarfline.capability import can_tell
from swarfline.entries import Entry, Judgement, StopReason, Target, standing
from swarfline.facts import UNOBSERVED, Condition, Count, Cycle, Energy
from swarfline.figures import share
from swarfline.measure.elements import TimeElements, Timeline
from swarfline.measure.energy import EnergySums, energy_summary
from swarfline.measure.energy_use import BaseLoad, base_load
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.judgements import Applied, judged
from swarfline.measure.kpis import FAMILIES, Events, KpiSums, events
from swarfline.measure.losses import Losses, Price, StoppedTimes, losses
from swarfline.measure.oee import OeeSums
from swarfline.measure.pace import Pace, pace
from swarfline.measure.production import (
    Correction,
    PartPlan,
    Production,
    production,
    stand_in,
)
from swarfline.measure.prospect import Prospect
from swarfline.measure.reasons import by_person, by_rule, given
from swarfline.measure.stops import Stop, stops
from swarfline.measure.targets import Aims
from swarfline.outlook import RECENT_CYCLES, machine_prospect, parts_counted, tool_list
from swarfline.serve.room import Room
from swarfline.store import CycleStart

MARGIN_US = 86_400_000_000

T = TypeVar("T")

Stretch = tuple[Losses, Price]
"""The losses of time in which one machine made one part, and what that time is worth."""


class Assembly:
    """The facts of one span, read as they are needed."""

    def __init__(self, room: Room, span: Interval, now_us: int) -> None:
        self.room = room
        self.span = span
        self.now_us = now_us
        self._kept: dict[tuple[str, str], object] = {}

    def _once(self, what: str, machine: str, read: Callable[[], T]) -> T:
        key = (what, machine)
        if key not in self._kept:
            self._kept[key] = read()
        return self._kept[key]  # type: ignore[return-value]

    @property
    def wide(self) -> Interval:
        """The span with a margin on either side."""
        return self.span[0] - MARGIN_US, self.span[1] + MARGIN_US

    def conditions(self, machine: str) -> list[Condition]:
        """Conditions of the span and its margins."""
        return self._once("c", machine, lambda: self.room.queries.facts(Condition, machine, *self.wide))

    def cycles(self, machine: str) -> list[Cycle]:
        """Cycles that overlap the span, without their strips, which no figure needs."""
        return self._once("y", machine, lambda: self.room.queries.cycles(machine, *self.span))

    def cycle_starts(self, machine: str) -> list[CycleStart]:
        """When the cycles that overlap the span began, and their parts."""
        return self._once("b", machine, lambda: self.room.queries.cycle_starts(machine, *self.span))

    def energies(self, machine: str, span: Interval | None = None) -> list[Energy]:
        """Pieces of energy that overlap the span asked about, or a ``span`` in it."""
        known = self._once("e", machine, lambda: self.room.queries.facts(Energy, machine, *self.span))
        if span is None:
            return known
        first = bisect_right(known, span[0], key=lambda e: e.end_us)
        return known[first : bisect_left(known, span[1], key=lambda e: e.start_us)]

    def counts(self, machine: str) -> list[Count]:
        """Counts in the span; for machines that count no parts, the parts of their complete cycles."""
        return self._once("n", machine, lambda: self._counts(machine, self.span))

    def _counts(self, machine: str, span: Interval) -> list[Count]:
        return parts_counted(self.room.plant, self.room.queries, machine, span)

    def judgements(self, machine: str) -> tuple[list[Correction], list[Applied]]:
        """What was entered later of parts made in the span: by how much it changes the counts, entry by entry."""
        return self._once("judged", machine, lambda: self.judgements_without(machine))

    def judgements_without(self, machine: str, left_out: int = 0) -> tuple[list[Correction], list[Applied]]:
        """The same, as if the entry of this number were undone."""
        entries = [e for e in self._touching(machine) if e.number != left_out]
        spans = merge((e.start_us, e.end_us) for e in entries)
        return judged([c for span in spans for c in self._counts(machine, span)], entries)

    def _touching(self, machine: str) -> list[Entry]:
        """The judgements that reach into the span, and those that reach into one of them, and so on."""
        reach = self.span
        while True:
            found = standing(self.room.queries.entries(Judgement, machine, *reach))
            before, reach = reach, _reach(reach, found)
            if reach == before:
                return found

    def reasons(self, machine: str) -> tuple[list[Stop], dict[int, Entry]]:
        """The whole stops around the span, and the reason entered for each by its start; none where none was."""
        return self._once("why", machine, lambda: self._reasons(machine))

    def _reasons(self, machine: str) -> tuple[list[Stop], dict[int, Entry]]:
        entries = standing(self.room.queries.entries(StopReason, machine, *self.wide))
        if not entries:
            return [], {}
        # an entry is about the stop that it overlaps most, which may lie outside
        reach = _reach(self.wide, entries)
        work = self if reach == self.wide else Assembly(self.room, reach, self.now_us)
        whole = stops(work.conditions(machine), work.planned(machine), work.wide, self._short_limit_us)
        return whole, given(whole, entries)

    def planned(self, machine: str) -> list[Interval]:
        """Planned times of the span and its margins."""
        return self._once("p", machine, lambda: self.room.calendar.planned(machine, *self.wide))

    def last_cycles(self, machine: str) -> list[Cycle]:
        """The newest complete cycles up to the span's end."""
        return self._once(
            "l", machine, lambda: self.room.queries.last_cycles(machine, RECENT_CYCLES, self.span[1])
        )

    def _counts_of(self, machine: str, part: str | None) -> tuple[list[int], list[Count]]:
        counts = [c for c in self.counts(machine) if part is None or c.part == part]
        return [c.time_us for c in counts], counts

    def counted(self, machine: str, span: Interval, part: str | None) -> list[Count]:
        """The counts in ``span``, of one part or of all."""
        times, counts = self._once(f"n/{part}", machine, lambda: self._counts_of(machine, part))
        return counts[bisect_left(times, span[0]) : bisect_left(times, span[1])]

    def production(self, machine: str, span: Interval, part: str | None = None) -> Production:
        """What a machine made in ``span``, of one part or of all."""
        inside = self.counted(machine, span, part)
        unplanned = any(c.part not in self.room.plans for c in inside)
        known = self.judgements(machine)[0]
        first, last = (bisect_left(known, us, key=lambda c: c.time_us) for us in span)
        corrections = [c for c in known[first:last] if part is None or c.part == part]
        cycles = self.last_cycles(machine) if unplanned else ()
        return production(inside, cycles, self.room.plans, span, corrections)

    def made(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> Production:
        """What a machine made in disjoint ``spans``; of a ``part``, what it made in the whole span."""
        if part is not None:
            return self.production(machine, self.span, part)
        return self._once(f"m/{spans}", machine, lambda: self._made(machine, spans))

    def _made(self, machine: str, spans: Sequence[Interval]) -> Production:
        return sum((self.production(machine, s) for s in spans), Production())

    def elements(self, machine: str, spans: Sequence[Interval]) -> TimeElements:
        """Time elements of one machine over disjoint ``spans``."""
        known = self._once("t", machine, lambda: Timeline(self.conditions(machine), self.planned(machine)))
        return sum((known.elements(s) for s in spans), TimeElements())

    def oee_sums(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> OeeSums:
        """Sums of one machine over disjoint ``spans``; with ``part`` its parts are those of the whole span."""
        return OeeSums.of(self.elements(machine, spans), self.made(machine, spans, part))

    def kpi_sums(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> KpiSums:
        """Sums of every KPI of one machine over disjoint ``spans``."""
        found = self.stops(machine, self.span)
        begun = (events(_beginning(found, span), span) for span in spans)
        return KpiSums.of(
            self.elements(machine, spans),
            self.made(machine, spans, part),
            reduce(Events.plus, begun, Events()),
            self.energy(machine, spans, part) if self.tells(machine, "energy") else EnergySums(),
            {family for family in FAMILIES if self.tells(machine, family)},
        )

    def tells(self, machine: str, family: str) -> bool:
        """Whether a machine's signals allow a family of figures (capability.NEEDS)."""
        plant = self.room.plant
        return self._once(f"t/{family}", machine, lambda: can_tell(plant, plant.machine(machine), family))

    def coverage(self, machines: Iterable[str]) -> Fraction | None:
        """Observed share of the planned time of the whole span, of these machines together."""
        found = [self.elements(m, [self.span]) for m in machines]
        return share(sum(e.observed_us for e in found), sum(e.planned_us for e in found))

    def stops(self, machine: str, span: Interval) -> list[Stop]:
        """Stops of one machine that have planned time in ``span``, which lies in the span asked about."""
        return self._once(f"s/{span}", machine, lambda: self._stops(machine, span))

    def _stops(self, machine: str, span: Interval) -> list[Stop]:
        found = stops(self.conditions(machine), self.planned(machine), span, self._short_limit_us)
        return by_person(by_rule(found, self.room.rules), *self.reasons(machine))

    @property
    def _short_limit_us(self) -> int:
        return round(self.room.plant.figures.short_stop_s * 1_000_000)

    def part_runs(self, machine: str) -> dict[str, list[Interval]]:
        """The span by the part being made; parts that were only counted have no time."""
        return self._once("r", machine, lambda: self._part_runs(machine))

    def _part_runs(self, machine: str) -> dict[str, list[Interval]]:
        runs = part_runs(self.cycle_starts(machine), self.span)
        return {**{c.part: [] for c in self.counts(machine)}, **runs}

    def losses(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> list[Stretch]:
        """Losses of one machine over disjoint ``spans``, by the part being made."""
        if part is not None:
            return [self._stretch(machine, part, spans, self.made(machine, spans, part))]
        found = []
        for made_then, runs in self.part_runs(machine).items():
            made = sum((self.production(machine, s, made_then) for s in spans), Production())
            found.append(self._stretch(machine, made_then, intersect(spans, runs), made))
        return found

    def _stretch(self, machine: str, part: str, spans: Sequence[Interval], made: Production) -> Stretch:
        stopped = self._once("o", machine, lambda: StoppedTimes(self.stops(machine, self.span)))
        found = losses(OeeSums.of(self.elements(machine, spans), made), stopped.within(spans))
        plan = self._plan_then(machine, part)
        estimate = found.estimate or bool(spans and plan and plan.estimate)
        return replace(found, estimate=estimate), Price(plan.item_us if plan else None, self.rate(machine))

    def _plan_then(self, machine: str, part: str) -> PartPlan | None:
        """The plan of the part being made; a machine that made nothing would have made what it made before."""
        named = part or self.part_now(machine)
        return self.plan_of(named, machine)

    def rate(self, machine: str) -> Fraction | None:
        """What an hour of a machine is worth, in the plant's currency; None where the plant file does not say."""
        own, common = self.room.plant.machine(machine).hourly_rate, self.room.plant.figures.hourly_rate
        rate = common if own is None else own
        return None if rate is None else Fraction(str(rate))

    def energy(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> EnergySums:
        """Energy and good parts of one machine over disjoint ``spans``."""
        made = self.made(machine, spans, part).all_parts
        return replace(self._taken(machine, spans), good=made.good, produced=made.total)

    def _taken(self, machine: str, spans: Sequence[Interval]) -> EnergySums:
        return self._once(
            f"w/{spans}",
            machine,
            lambda: sum((energy_summary(self.energies(machine, s), s, 0, 0) for s in spans), EnergySums()),
        )

    def base_load(self, machine: str, span: Interval) -> BaseLoad:
        """Base load of one machine in a ``span`` of the one asked about."""
        return self._once(f"base/{span}", machine, lambda: base_load(self.energies(machine, span), span))

    def energy_coverage(self, machines: Iterable[str]) -> Fraction | None:
        """Share of the whole span whose energy is known, of these machines together."""
        return sum((self._taken(m, (self.span,)) for m in machines), EnergySums()).coverage

    def plan_of(self, part: str, machine: str) -> PartPlan | None:
        """The plan of a part, or the stand-in that the machine's newest cycles give."""
        return self.room.plans.get(part) or stand_in(part, self.last_cycles(machine))

    def part_now(self, machine: str) -> str:
        """The part of the newest cycle up to the span's end, or the one that the plant file names."""
        # their parts alone: a week of whole cycles takes longer to read than all the rest
        recent = self.cycle_starts(machine) or self.last_cycles(machine)
        named = self.room.plant.machine(machine).part or ""
        return (recent[-1].part if recent else named) or named

    def pace(self, machine: str, until_us: int) -> Pace:
        """Pace of one machine from the span's start to ``until_us`` (its shift's end), up to the present.

        The time per item is that of what was made, weighted by quantity; before the first part, of what is
        being made.
        """
        made = self.production(machine, self.span)
        quantities = {part: q.total for part, q in made.by_part.items() if q.total > 0}
        plans = {p: self.plan_of(p, machine) for p in quantities or [self.part_now(machine)]}
        known = [(plan.item_us, quantities.get(part, 1)) for part, plan in plans.items() if plan]
        estimate = any(plan.estimate for plan in plans.values() if plan)
        item_us = _mean_item(known) if len(known) == len(plans) else None
        span = (self.span[0], until_us)
        planned = self.room.calendar.planned(machine, *span)
        made_all = sum(quantities.values())
        seen = made_all if self.is_seen(machine) else None
        return pace(seen, item_us, planned, span, self.now_us, estimate, self.aims(machine, span))

    def aims(self, machine: str, span: Interval) -> Aims:
        """The targets that people told for a machine and reach into a span, which may lie ahead."""
        told = standing(self.room.queries.entries(Target, machine, *span))
        return Aims(told, self.room.calendar.planned(machine, *_reach(span, told)))

    def is_seen(self, machine: str) -> bool:
        """Whether anything of the span is known: where nobody watched, no part is not zero parts."""
        start, end = self.span
        watched = (c for c in self.conditions(machine) if c.condition != UNOBSERVED)
        return any(c.start_us < end and c.end_us > start for c in watched) or bool(self.counts(machine))

    def prospect(self, machine: str) -> Prospect:
        """What one machine makes at present, and how fast."""
        recent = self.last_cycles(machine) if self.span[1] == self.now_us else None
        return self._once(
            "a",
            machine,
            lambda: machine_prospect(self.room.queries, self.room.calendar, machine, self.now_us, recent),
        )

    def forecasts(self, machine: str) -> list[ToolForecast]:
        """Tool forecasts of one machine as of the present."""
        return tool_list(self.room.queries, machine, self.prospect(machine))


def _beginning(stops: Sequence[Stop], span: Interval) -> Sequence[Stop]:
    """Those of the stops, in time order, that begin in ``span``."""
    first, last = (bisect_left(stops, us, key=lambda s: s.start_us) for us in span)
    return stops[first:last]


def _reach(span: Interval, entries: Iterable[Entry]) -> Interval:
    """The span, widened so that it holds the entries."""
    edges = [span, *((e.start_us, e.end_us) for e in entries)]
    return min(start for start, _ in edges), max(end for _, end in edges)


def _mean_item(known: Sequence[tuple[Fraction, int]]) -> Fraction:
    """Mean planned time per item, weighted by quantity."""
    return sum((item * n for item, n in known), Fraction(0)) / sum(n for _, n in known)


def part_runs(cycles: Iterable[Cycle | CycleStart], span: Interval) -> dict[str, list[Interval]]:
    """Time by the part being made: each moment belongs to the part of the cycle begun last.

    Time before the first cycle belongs to the first one's part. The runs tile the span; without cycles all of
    it belongs to no part ("").
    """
    edges: list[tuple[int, str]] = []
    for cycle in cycles:
        if not edges or edges[-1][1] != cycle.part:
            edges.append((max(cycle.start_us, span[0]) if edges else span[0], cycle.part))
    edges = edges or [(span[0], "")]
    ends = [start for start, _ in edges[1:]] + [span[1]]
    runs: dict[str, list[Interval]] = {}
    for (start, part), end in zip(edges, ends, strict=True):
        runs.setdefault(part, []).append((start, end))
    return {part: merge(found) for part, found in runs.items()}
