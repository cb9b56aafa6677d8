"""Energy: what a span took, by condition and per good part, and the quarter-hour demand.

Pieces that cross an edge are cut in proportion. Energy of time without pieces is not known; coverage says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import fsum

from swarfline.calendar import Interval, merge, total
from swarfline.facts import Energy
from swarfline.figures import Figure, share
from swarfline.measure.definition import ISO, OURS, Definition

QUARTER_US = 900_000_000
"""Demand is a mean over a quarter of an hour; quarters begin at UTC multiples of it."""

JOULES_PER_KWH = 3_600_000.0
_WHOLE = Fraction(1)


@dataclass(frozen=True, slots=True)
class EnergySums:
    """Joules and µs with known energy by condition, time covered and asked about in µs, good and all parts.

    Parts are None when they are not known.
    Sums of disjoint spans or of several machines add with ``+``.
    """

    by_condition_j: Mapping[str, float] = field(default_factory=dict)
    covered_us: int = 0
    span_us: int = 0
    good: int | None = 0
    produced: int | None = 0
    by_condition_us: Mapping[str, int] = field(default_factory=dict)

    def __add__(self, other: EnergySums) -> EnergySums:
        mine, theirs = self.by_condition_j, other.by_condition_j
        my_us, their_us = self.by_condition_us, other.by_condition_us
        return EnergySums(
            {name: mine.get(name, 0.0) + theirs.get(name, 0.0) for name in sorted({*mine, *theirs})},
            self.covered_us + other.covered_us,
            self.span_us + other.span_us,
            _plus(self.good, other.good),
            _plus(self.produced, other.produced),
            {name: my_us.get(name, 0) + their_us.get(name, 0) for name in sorted({*my_us, *their_us})},
        )

    @property
    def total_j(self) -> float | None:
        """All joules; None when nothing was covered."""
        return fsum(self.by_condition_j.values()) if self.covered_us else None

    @property
    def coverage(self) -> Fraction | None:
        """Share of the span whose energy is known."""
        return share(self.covered_us, self.span_us)


def energy_summary(
    energies: Iterable[Energy], span: Interval, good: int | None, produced: int | None = None
) -> EnergySums:
    """Energy of one machine in ``span`` = [start, end); ``good`` of ``produced`` parts in it, None: not known."""
    pieces: dict[str, list[float]] = {}
    times: dict[str, int] = {}
    covered: list[Interval] = []
    for fact in energies:
        joules, start, end = _cut(fact, span)
        if start < end:
            pieces.setdefault(fact.condition, []).append(joules)
            times[fact.condition] = times.get(fact.condition, 0) + end - start
            covered.append((start, end))
    sums = {name: fsum(values) for name, values in sorted(pieces.items())}
    whole_us = max(0, span[1] - span[0])
    return EnergySums(sums, total(merge(covered)), whole_us, good, produced, dict(sorted(times.items())))


def energy_figures(sums: EnergySums) -> dict[str, Figure]:
    """``energy`` in kWh, ``energy_per_part`` and ``energy_per_good_part`` in kWh per part, by name."""
    joules = sums.total_j
    kwh = None if joules is None else joules / JOULES_PER_KWH
    spent = Figure("energy", kwh, None, "kWh", sums.coverage)
    each = [
        Figure(name, None if parts is None else kwh, parts or 0, "kWh", sums.coverage)
        for name, parts in (("energy_per_part", sums.produced), ("energy_per_good_part", sums.good))
    ]
    return {f.name: f for f in (spent, *each)}


def _plus(left: int | None, right: int | None) -> int | None:
    return None if left is None or right is None else left + right


@dataclass(frozen=True, slots=True)
class Demand:
    """Mean power over one quarter of an hour: energy known ÷ 15 min, in W.

    With a ``coverage`` below 1 it is a lower bound; ``mean_w`` is None where nothing is known.
    """

    start_us: int
    mean_w: float | None
    coverage: Fraction


def demand(energies: Iterable[Energy], span: Interval, machines: int = 1) -> list[Demand]:
    """Demand of each quarter that begins in ``span``, of all ``machines`` that the pieces belong to together."""
    joules: dict[int, list[float]] = {}
    covered: dict[int, int] = {}
    for fact in energies:
        quarter = fact.start_us // QUARTER_US * QUARTER_US
        if fact.end_us <= quarter + QUARTER_US:
            # as nearly all are; each is met several times for a page
            joules.setdefault(quarter, []).append(fact.energy_j)
            covered[quarter] = covered.get(quarter, 0) + fact.end_us - fact.start_us
            continue
        for quarter in _quarters((fact.start_us, fact.end_us)):
            part, start, end = _cut(fact, (quarter, quarter + QUARTER_US))
            joules.setdefault(quarter, []).append(part)
            covered[quarter] = covered.get(quarter, 0) + end - start
    return [_demand(q, joules.get(q), covered.get(q, 0), machines) for q in _quarters(span) if q >= span[0]]


def peak(series: Sequence[Demand]) -> Demand | None:
    """The quarter of the highest demand, the first of equals; None when nothing is known."""
    known = [d for d in series if d.mean_w is not None]
    return max(known, key=lambda d: (d.mean_w or 0.0, -d.start_us), default=None)


def _demand(quarter: int, joules: list[float] | None, covered_us: int, machines: int) -> Demand:
    mean_w = None if joules is None else fsum(joules) / (QUARTER_US / 1_000_000)
    whole_us = QUARTER_US * machines
    return Demand(quarter, mean_w, _WHOLE if covered_us == whole_us else Fraction(covered_us, whole_us))


def _quarters(span: Interval) -> range:
    """Beginnings of the quarters that overlap the span."""
    return range(span[0] // QUARTER_US * QUARTER_US, span[1], QUARTER_US)


def _cut(fact: Energy, span: Interval) -> tuple[float, int, int]:
    """Joules, start and end of the part of a piece inside the span."""
    if span[0] <= fact.start_us and fact.end_us <= span[1]:
        return fact.energy_j, fact.start_us, fact.end_us
    start, end = max(fact.start_us, span[0]), min(fact.end_us, span[1])
    if start >= end:
        return 0.0, 0, 0
    return fact.energy_j * (end - start) / (fact.end_us - fact.start_us), start, end


FIGURES = (
    Definition("energy", "Σ energy, by condition", "kWh", "electrical energy taken", "physics"),
    Definition(
        "energy_per_part",
        "energy ÷ produced",
        "kWh",
        "comprehensive energy consumption, e: energy that a part took",
        ISO + " e = E ÷ PQ",
    ),
    Definition("energy_per_good_part", "energy ÷ good", "kWh", "energy that a good part took", OURS),
    Definition("demand", "energy of a UTC quarter hour ÷ 15 min", "W", "mean power", "utility glossaries"),
    Definition("demand_peak", "max demand", "W", "what a tariff may bill", "utility glossaries"),
)
