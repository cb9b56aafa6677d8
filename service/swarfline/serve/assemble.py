"""From the store's facts to the inputs of measure, for the machines and the span of one request.

Facts are read once per machine and kind, with a margin of a day where a stop may cross the span's edges.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from typing import TypeVar

from swarfline.calendar import Interval, merge
from swarfline.facts import TOTAL, Condition, Count, Cycle, Energy
from swarfline.figures import share
from swarfline.measure.elements import time_elements
from swarfline.measure.energy import EnergySums, energy_summary
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.losses import Losses, losses
from swarfline.measure.oee import OeeSums
from swarfline.measure.pace import Pace, pace
from swarfline.measure.production import PartPlan, Production, counts_from_cycles, production, stand_in
from swarfline.measure.prospect import Prospect
from swarfline.measure.stops import Stop, stops
from swarfline.outlook import RECENT_CYCLES, machine_prospect, tool_list
from swarfline.serve.room import Room

MARGIN_US = 86_400_000_000

T = TypeVar("T")


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
        """Cycles that overlap the span."""
        return self._once("y", machine, lambda: self.room.queries.facts(Cycle, machine, *self.span))

    def energies(self, machine: str) -> list[Energy]:
        """Pieces of energy that overlap the span."""
        return self._once("e", machine, lambda: self.room.queries.facts(Energy, machine, *self.span))

    def counts(self, machine: str) -> list[Count]:
        """Counts in the span; for machines that count no parts, the parts of their complete cycles."""
        return self._once("n", machine, lambda: self._counts(machine))

    def _counts(self, machine: str) -> list[Count]:
        found = self.room.queries.facts(Count, machine, *self.span)
        nodes = self.room.plant.nodes_of(self.room.plant.machine(machine))
        if "part_count" in nodes or any(c.count_kind == TOTAL for c in found):
            return found
        return sorted([*found, *counts_from_cycles(self.cycles(machine))], key=lambda c: c.time_us)

    def planned(self, machine: str) -> list[Interval]:
        """Planned times of the span and its margins."""
        return self._once("p", machine, lambda: self.room.calendar.planned(machine, *self.wide))

    def last_cycles(self, machine: str) -> list[Cycle]:
        """The newest complete cycles up to the span's end."""
        return self._once(
            "l", machine, lambda: self.room.queries.last_cycles(machine, RECENT_CYCLES, self.span[1])
        )

    def production(self, machine: str, span: Interval, part: str | None = None) -> Production:
        """What a machine made in ``span``, of one part or of all."""
        counts = [c for c in self.counts(machine) if part is None or c.part == part]
        inside = [c for c in counts if span[0] <= c.time_us < span[1]]
        unplanned = any(c.part not in self.room.plans for c in inside)
        return production(inside, self.last_cycles(machine) if unplanned else (), self.room.plans, span)

    def oee_sums(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> OeeSums:
        """Sums of one machine over disjoint ``spans``; with ``part`` its parts are those of the whole span."""
        elements = [time_elements(self._near(machine, s), self.planned(machine), s) for s in spans if s[0] < s[1]]
        if part is None:
            pairs = zip(elements, (s for s in spans if s[0] < s[1]), strict=True)
            return sum((OeeSums.of(e, self.production(machine, s)) for e, s in pairs), OeeSums())
        whole = elements[0] if elements else time_elements((), (), (0, 0))
        for more in elements[1:]:
            whole = whole + more
        return OeeSums.of(whole, self.production(machine, self.span, part))

    def coverage(self, machines: Iterable[str]) -> Fraction | None:
        """Observed share of the planned time of the whole span, of these machines together."""
        found = [time_elements(self.conditions(m), self.planned(m), self.span) for m in machines]
        return share(sum(e.observed_us for e in found), sum(e.planned_us for e in found))

    def stops(self, machine: str, span: Interval) -> list[Stop]:
        """Stops of one machine that have planned time in ``span``."""
        limit_us = round(self.room.plant.figures.short_stop_s * 1_000_000)
        return stops(self._near(machine, span), self.planned(machine), span, limit_us)

    def losses(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> Losses:
        """Losses of one machine over disjoint ``spans``."""
        found = [stop for span in spans for stop in self.stops(machine, span)]
        return losses(self.oee_sums(machine, spans, part), found)

    def energy(self, machine: str, spans: Sequence[Interval], part: str | None = None) -> EnergySums:
        """Energy and good parts of one machine over disjoint ``spans``."""
        if part is None:
            goods = [self.production(machine, span).all_parts.good for span in spans]
        else:
            goods = [self.production(machine, self.span, part).all_parts.good] + [0] * (len(spans) - 1)
        parts = [energy_summary(self.energies(machine), s, g) for s, g in zip(spans, goods, strict=True)]
        return sum(parts, EnergySums())

    def _near(self, machine: str, span: Interval) -> list[Condition]:
        """The conditions around ``span``, so that many short spans do not each walk all of them."""
        known = self.conditions(machine)
        first = bisect_left(known, span[0] - MARGIN_US, key=lambda c: c.end_us)
        return known[first : bisect_right(known, span[1] + MARGIN_US, key=lambda c: c.start_us)]

    def plan_of(self, part: str, cycles: Sequence[Cycle]) -> PartPlan | None:
        """The plan of a part, or the stand-in that its cycles give."""
        return self.room.plans.get(part) or stand_in(part, cycles)

    def part_now(self, machine: str) -> str:
        """The part of the newest cycle up to the span's end, or the one that the plant file names."""
        recent = self.cycles(machine) or self.last_cycles(machine)
        named = self.room.plant.machine(machine).part or ""
        return (recent[-1].part if recent else named) or named

    def pace(self, machine: str, until_us: int) -> Pace:
        """Pace of one machine from the span's start to ``until_us`` (its shift's end), up to the present.

        The time per item is that of what was made, weighted by quantity; before the first part, of what is
        being made.
        """
        made = self.production(machine, self.span)
        quantities = {part: q.total for part, q in made.by_part.items() if q.total > 0}
        recent = self.last_cycles(machine)
        plans = {p: self.plan_of(p, recent) for p in quantities or [self.part_now(machine)]}
        known = [(plan.item_us, quantities.get(part, 1)) for part, plan in plans.items() if plan]
        estimate = any(plan.estimate for plan in plans.values() if plan)
        item_us = _mean_item(known) if len(known) == len(plans) else None
        span = (self.span[0], until_us)
        planned = self.room.calendar.planned(machine, *span)
        return pace(sum(quantities.values()), item_us, planned, span, self.now_us, estimate)

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


def _mean_item(known: Sequence[tuple[Fraction, int]]) -> Fraction:
    """Mean planned time per item, weighted by quantity."""
    return sum((item * n for item, n in known), Fraction(0)) / sum(n for _, n in known)


def part_runs(cycles: Iterable[Cycle], span: Interval) -> dict[str, list[Interval]]:
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
