"""Production: what was made, how it was judged, and the time that the plan allows for it.

good + scrap + unjudged = total, always. Parts that are not judged count as good and are shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from fractions import Fraction
from statistics import median_low
from typing import NamedTuple

from swarfline.calendar import Interval
from swarfline.facts import COMPLETE, GOOD, SCRAP, TOTAL, Count, Cycle
from swarfline.measure.definition import ISO, OURS, Definition
from swarfline.measure.trend import quantile, steady_cycles

ENOUGH_CYCLES = 20
"""From so many cycles on, the best demonstrated time is a percentile and no longer the minimum."""


@dataclass(frozen=True, slots=True)
class PartPlan:
    """Planned time of one cycle and what it makes; ``estimate``: measured, in place of a planned time."""

    part: str
    planned_cycle_us: int
    parts_per_cycle: int = 1
    estimate: bool = False

    @property
    def item_us(self) -> Fraction:
        """Planned run time per item (PRI), µs."""
        return Fraction(self.planned_cycle_us, self.parts_per_cycle)


@dataclass(frozen=True, slots=True)
class Quantities:
    """Parts of one part number: made, judged good, judged scrap.

    ``gap_total`` and ``gap_scrap`` are the shares counted across gaps, contained in the others. ``unjudged`` is
    negative where more parts were judged than made, because their judgement came later than the parts. ``rework``
    (RQ) is counted apart: such parts are good or scrap all the same.
    """

    total: int = 0
    judged_good: int = 0
    scrap: int = 0
    gap_total: int = 0
    gap_scrap: int = 0
    rework: int = 0

    def __add__(self, other: Quantities) -> Quantities:
        return Quantities(
            self.total + other.total,
            self.judged_good + other.judged_good,
            self.scrap + other.scrap,
            self.gap_total + other.gap_total,
            self.gap_scrap + other.gap_scrap,
            self.rework + other.rework,
        )

    def __sub__(self, other: Quantities) -> Quantities:
        return Quantities(
            self.total - other.total,
            self.judged_good - other.judged_good,
            self.scrap - other.scrap,
            self.gap_total - other.gap_total,
            self.gap_scrap - other.gap_scrap,
            self.rework - other.rework,
        )

    @property
    def unjudged(self) -> int:
        """Made, but neither judged good nor scrap."""
        return self.total - self.judged_good - self.scrap

    @property
    def good(self) -> int:
        """Good quantity (GQ): unjudged parts count as good."""
        return self.total - self.scrap


@dataclass(frozen=True, slots=True)
class Production:
    """What was made, by part, and its planned run time in exact µs.

    The planned times leave out what was counted across gaps, for the time it took is not known either.
    ``unplanned`` counts observed parts (made or scrapped) that have no planned time: with any, the planned
    times are incomplete. ``estimate``: a best demonstrated time stands in. Disjoint productions add with ``+``.
    """

    by_part: Mapping[str, Quantities] = field(default_factory=dict)
    planned_produced_us: Fraction = Fraction(0)
    planned_good_us: Fraction = Fraction(0)
    unplanned: int = 0
    estimate: bool = False

    def __add__(self, other: Production) -> Production:
        parts = sorted({*self.by_part, *other.by_part})
        return Production(
            {p: self.by_part.get(p, _NOTHING) + other.by_part.get(p, _NOTHING) for p in parts},
            self.planned_produced_us + other.planned_produced_us,
            self.planned_good_us + other.planned_good_us,
            self.unplanned + other.unplanned,
            self.estimate or other.estimate,
        )

    @property
    def all_parts(self) -> Quantities:
        """The quantities of every part together."""
        return sum(self.by_part.values(), _NOTHING)


_NOTHING = Quantities()


class Correction(NamedTuple):
    """By how much a judgement entered later changes what was counted of a part at one moment."""

    time_us: int
    part: str
    change: Quantities


def production(
    counts: Iterable[Count],
    cycles: Sequence[Cycle],
    plans: Mapping[str, PartPlan],
    span: Interval,
    corrections: Iterable[Correction] = (),
) -> Production:
    """What one machine made in ``span`` = [start, end).

    ``counts`` and ``corrections`` may exceed the span. ``plans`` by part; a part without one is given the best
    demonstrated time of its ``cycles`` (which may reach further back than the span). Where a machine counts no
    parts, pass ``counts_from_cycles``.
    """
    sums: dict[str, list[int]] = {}
    for count in counts:
        if span[0] <= count.time_us < span[1]:
            own = sums.setdefault(count.part, [0] * _NUMBERS)
            for place in _PLACES[count.count_kind, count.across_gap]:
                own[place] += count.quantity
    by_part = {part: Quantities(*sums[part]) for part in sums}
    for correction in corrections:
        if span[0] <= correction.time_us < span[1]:
            by_part[correction.part] = by_part.get(correction.part, _NOTHING) + correction.change
    return sum((_timed(p, by_part[p], plans, cycles) for p in sorted(by_part)), Production())


def counted(count: Count) -> Quantities:
    """A count as quantities of its part."""
    found = [0] * len(fields(Quantities))
    for place in _PLACES[count.count_kind, count.across_gap]:
        found[place] = count.quantity
    return Quantities(*found)


_NUMBERS = len(fields(Quantities))
_PLACES = {
    (TOTAL, False): (0,),
    (GOOD, False): (1,),
    (SCRAP, False): (2,),
    (TOTAL, True): (0, 3),
    (GOOD, True): (1,),
    (SCRAP, True): (2, 4),
}
"""The fields of Quantities that a count adds to, by its kind and whether it was made across a gap."""


def _timed(part: str, made: Quantities, plans: Mapping[str, PartPlan], cycles: Sequence[Cycle]) -> Production:
    plan = plans.get(part) or stand_in(part, cycles)
    produced = made.total - made.gap_total
    scrap = made.scrap - made.gap_scrap
    if plan is None:
        return Production({part: made}, unplanned=max(produced, scrap))
    item = plan.item_us
    return Production({part: made}, item * produced, item * (produced - scrap), 0, plan.estimate)


def counts_from_cycles(cycles: Iterable[Cycle]) -> list[Count]:
    """Counts of kind total for machines that count no parts: each cycle's parts, at its end.

    Only complete cycles: one that was cut short or was not seen whole proves no part.
    """
    return [
        Count(c.machine, c.end_us, TOTAL, c.parts, c.part, c.lot)
        for c in cycles
        if c.outcome == COMPLETE and c.parts and not c.open
    ]


def best_demonstrated_us(cycles: Iterable[Cycle]) -> int | None:
    """Best demonstrated cycle time, µs: the 10th percentile (type 7) of steady cycles.

    With fewer than ENOUGH_CYCLES their minimum, with none None (common practice, no source).
    """
    durations = sorted(float(c.duration_us) for c in steady_cycles(cycles))
    if not durations:
        return None
    return round(quantile(durations, 0.1) if len(durations) >= ENOUGH_CYCLES else durations[0])


def stand_in(part: str, cycles: Iterable[Cycle]) -> PartPlan | None:
    """A plan, marked as an estimate, from the cycles that made a part; None without any."""
    mine = [c for c in cycles if c.part == part]
    best = best_demonstrated_us(mine)
    if not best:
        return None
    made = [c.parts for c in steady_cycles(mine) if c.parts > 0]
    return PartPlan(part, best, median_low(made) if made else 1, estimate=True)


FIGURES = (
    Definition("produced", "counted parts", "1", "parts made, good or not (PQ)", ISO),
    Definition("good", "produced − scrap", "1", "good quantity (GQ); unjudged parts count as good", ISO),
    Definition("scrap", "parts counted as scrap, ± judgements entered", "1", "scrap quantity (SQ)", ISO),
    Definition("rework", "parts entered as rework", "1", "rework quantity (RQ); counted apart", ISO),
    Definition("unjudged", "produced − judged good − scrap", "1", "parts that nobody judged", OURS),
    Definition("across_gap", "produced across gaps", "1", "parts made unobserved; not in the ratios", OURS),
)
