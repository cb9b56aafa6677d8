"""Cycle-time trend: level, spread and control limits of the cycles of one machine, program and part.

Only complete cycles without holds, wholly in sight, enter. Sums are exactly rounded and spreads are taken about
the mean in a second pass, so that long runs of nearly equal times lose no digits.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import floor, fsum, sqrt

from swarfline.facts import COMPLETE, Cycle
from swarfline.measure import runs
from swarfline.measure.definition import NIST, OURS, TYPE_7, Definition
from swarfline.measure.runs import Signal, run_signals

D2 = 1.128
"""Mean range of two normal values in standard deviations (NIST/SEMATECH e-Handbook 6.3.2.2)."""

D4 = 3.267
"""Upper limit of moving ranges of two in mean ranges (same source)."""

LAMBDA = 0.2
"""Weight of the newest value in the EWMA (common practice, no source)."""

EWMA_WIDTH = 3.0
"""Distance of the EWMA limits in standard deviations of the EWMA."""

Limits = tuple[float, float]
"""(lower, upper)"""


def steady_cycles(cycles: Iterable[Cycle]) -> list[Cycle]:
    """The complete cycles without holds and wholly in sight: they say how fast the program is."""
    return [c for c in cycles if c.outcome == COMPLETE and not c.held_us and not c.unobserved_us and not c.open]


def quantile(ordered: Sequence[float], p: float) -> float:
    """Quantile of type 7 (Hyndman & Fan 1996) of sorted values; raises ValueError for none or p outside 0–1."""
    if not ordered or not 0 <= p <= 1:
        raise ValueError(f"no quantile {p} of {len(ordered)} values")
    place = p * (len(ordered) - 1)
    below = floor(place)
    if below + 1 == len(ordered):
        return ordered[below]
    return ordered[below] + (place - below) * (ordered[below + 1] - ordered[below])


def mean(values: Sequence[float]) -> float:
    """Arithmetic mean; raises ValueError for no values."""
    if not values:
        raise ValueError("no mean of no values")
    first = fsum(values) / len(values)
    return first + fsum(v - first for v in values) / len(values)


def deviation(values: Sequence[float]) -> float | None:
    """Standard deviation of a sample (n − 1), None for fewer than two values."""
    if len(values) < 2:
        return None
    centre = mean(values)
    return sqrt(fsum((v - centre) ** 2 for v in values) / (len(values) - 1))


def autocorrelation(values: Sequence[float]) -> float | None:
    """Correlation of each value with the one before (lag 1; NIST/SEMATECH e-Handbook 1.3.5.12), −1 to 1.

    None for fewer than three values, or when all are equal.
    """
    if len(values) < 3:
        return None
    centre = mean(values)
    apart = [v - centre for v in values]
    square = fsum(a * a for a in apart)
    return fsum(a * b for a, b in pairwise(apart)) / square if square else None


@dataclass(frozen=True, slots=True)
class Individuals:
    """Individuals and moving-range chart, in the unit of the values; None where fewer than two values tell.

    ``beyond`` are places (from 0) of values strictly outside of ``limits``; ``ranges_beyond`` places of values
    whose step from the value before lies strictly above ``range_limit``.
    """

    centre: float | None
    range_mean: float | None
    sigma: float | None
    limits: Limits | None
    range_limit: float | None
    beyond: tuple[int, ...] = ()
    ranges_beyond: tuple[int, ...] = ()


def individuals(values: Sequence[float]) -> Individuals:
    """x̄ ± 3 M̄R/1.128 and 3.267 M̄R (NIST/SEMATECH e-Handbook 6.3.2.2) of values in time order."""
    if len(values) < 2:
        return Individuals(mean(values) if values else None, None, None, None, None)
    ranges = [abs(b - a) for a, b in pairwise(values)]
    centre, range_mean = mean(values), mean(ranges)
    sigma, range_limit = range_mean / D2, D4 * range_mean
    low, high = centre - 3 * sigma, centre + 3 * sigma
    beyond = tuple(i for i, v in enumerate(values) if v < low or v > high)
    jumps = tuple(i for i, r in enumerate(ranges, start=1) if r > range_limit)
    return Individuals(centre, range_mean, sigma, (low, high), range_limit, beyond, jumps)


def ewma(values: Iterable[float], lam: float = LAMBDA, start: float = 0.0) -> list[float]:
    """z = λ x + (1 − λ) z before, from ``start`` on (NIST/SEMATECH e-Handbook 6.3.2.4); one z per value."""
    if not 0 < lam <= 1:
        raise ValueError(f"weight {lam} is not in (0, 1]")
    smoothed: list[float] = []
    level = start
    for value in values:
        level += lam * (value - level)
        smoothed.append(level)
    return smoothed


def ewma_limits(
    count: int, centre: float, sigma: float, lam: float = LAMBDA, width: float = EWMA_WIDTH
) -> list[Limits]:
    """Limits of each of ``count`` EWMA values, widening to the steady ones of the same source."""
    half = [width * sigma * sqrt(lam / (2 - lam) * (1 - (1 - lam) ** (2 * i))) for i in range(1, count + 1)]
    return [(centre - h, centre + h) for h in half]


def steady_limits(centre: float, sigma: float, lam: float = LAMBDA, width: float = EWMA_WIDTH) -> Limits:
    """The limits that ``ewma_limits`` tend to."""
    half = width * sigma * sqrt(lam / (2 - lam))
    return centre - half, centre + half


@dataclass(frozen=True, slots=True)
class Trend:
    """The cycle times of one machine, program and part, in s and in time order.

    ``starts_us`` and ``values_s`` are the points; ``left_out`` counts cycles that did not enter. Quantiles are of
    type 7. All None, and the charts empty, where too few cycles tell.
    """

    starts_us: tuple[int, ...]
    values_s: tuple[float, ...]
    left_out: int
    median_s: float | None
    p10_s: float | None
    p90_s: float | None
    minimum_s: float | None
    deviation_s: float | None
    chart: Individuals
    smoothed_s: tuple[float, ...] = ()
    smoothed_limits_s: tuple[Limits, ...] = ()
    smoothed_beyond: tuple[int, ...] = ()

    @property
    def count(self) -> int:
        """Number of cycles that entered."""
        return len(self.values_s)

    @property
    def mean_s(self) -> float | None:
        """Mean cycle time, which is also the centre line."""
        return self.chart.centre

    @property
    def autocorrelation(self) -> float | None:
        """Tie of each cycle time to the one before, worked out anew at each call."""
        return autocorrelation(self.values_s)

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Run rules on the chart of single cycles, worked out anew at each call.

        They suppose that the autocorrelation is small.
        """
        if self.chart.centre is None or self.chart.sigma is None:
            return ()
        return run_signals(self.values_s, self.chart.centre, self.chart.sigma)


def cycle_trend(cycles: Iterable[Cycle]) -> Trend:
    """Trend of the cycles of one machine, program and part; they may come in any order."""
    known = sorted(cycles, key=lambda c: c.start_us)
    steady = steady_cycles(known)
    values = [c.duration_us / 1_000_000 for c in steady]
    low, middle, high = _spread(sorted(values))
    chart = individuals(values)
    smoothed, limits = _smoothed(values, chart)
    return Trend(
        tuple(c.start_us for c in steady),
        tuple(values),
        len(known) - len(steady),
        middle,
        low,
        high,
        min(values, default=None),
        deviation(values),
        chart,
        smoothed,
        limits,
        tuple(i for i, (z, (lo, hi)) in enumerate(zip(smoothed, limits, strict=True)) if z < lo or z > hi),
    )


def by_program(cycles: Iterable[Cycle]) -> dict[tuple[str, str, str], list[Cycle]]:
    """Cycles by (machine, program, part), each a matter for one trend."""
    groups: dict[tuple[str, str, str], list[Cycle]] = {}
    for cycle in cycles:
        groups.setdefault((cycle.machine, cycle.program, cycle.part), []).append(cycle)
    return groups


def _spread(ordered: Sequence[float]) -> tuple[float | None, float | None, float | None]:
    if not ordered:
        return None, None, None
    return quantile(ordered, 0.1), quantile(ordered, 0.5), quantile(ordered, 0.9)


def _smoothed(values: Sequence[float], chart: Individuals) -> tuple[tuple[float, ...], tuple[Limits, ...]]:
    if chart.centre is None or chart.sigma is None:
        return (), ()
    series = ewma(values, LAMBDA, chart.centre)
    return tuple(series), tuple(ewma_limits(len(values), chart.centre, chart.sigma))


FIGURES = (
    Definition("cycle_time_median", "P50 of steady cycles", "s", "the usual cycle time", TYPE_7),
    Definition("cycle_time_p10", "P10 of steady cycles", "s", "one in ten is faster", TYPE_7),
    Definition("cycle_time_p90", "P90 of steady cycles", "s", "one in ten is slower", TYPE_7),
    Definition("cycle_time_minimum", "least of steady cycles", "s", "the fastest cycle", OURS),
    Definition("cycle_time_mean", "x̄ of steady cycles", "s", "centre line of the chart", NIST + " 6.3.2.2"),
    Definition("cycle_time_deviation", "√(Σ (x − x̄)² ÷ (n − 1))", "s", "spread of all of them", "textbook"),
    Definition("cycle_time_limits", "x̄ ± 3 · M̄R ÷ 1.128", "s", "limits of single cycles", NIST + " 6.3.2.2"),
    Definition("moving_range_limit", "3.267 · M̄R", "s", "limit of steps from cycle to cycle", NIST + " 6.3.2.2"),
    Definition("cycle_time_ewma", "z = 0.2 · x + 0.8 · z before", "s", "smoothed cycle time", NIST + " 6.3.2.4"),
    *runs.FIGURES,
    Definition(
        "cycle_time_autocorrelation",
        "Σ (x − x̄)(x after − x̄) ÷ Σ (x − x̄)²",
        "1",
        "tie to the cycle before",
        NIST + " 1.3.5.12",
    ),
)
