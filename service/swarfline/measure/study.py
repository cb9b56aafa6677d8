"""Study: two samples of steady cycles side by side, and what can honestly be said of their difference.

Everything is second against first: a negative difference says that the second is faster. Two views must agree
before a difference counts as shown: that of the means, which decide how much is made, and that of the ranks,
which a few odd cycles cannot move.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import sqrt

from swarfline.facts import ABORTED, COMPLETE, HELD, PARTIAL, STEPS, Cycle
from swarfline.measure.definition import NIST, Definition
from swarfline.measure.distributions import normal_quantile, t_cdf, t_quantile
from swarfline.measure.ranks import LEVEL, Interval, Ranks
from swarfline.measure.trend import autocorrelation, deviation, mean, quantile, steady_cycles

FEWEST = 8
"""Steady cycles that each sample needs before a difference is judged (own choice)."""

MANY_LEFT_OUT = 0.2
"""From that share of a sample's cycles on, those left out are worth a caution (own choice)."""

FASTER, SLOWER, UNCLEAR, NOT_SHOWN, TOO_FEW = "faster", "slower", "unclear", "not_shown", "too_few"
RULINGS = (FASTER, SLOWER, UNCLEAR, NOT_SHOWN, TOO_FEW)

SECOND_US = 1_000_000


def effective_count(values: Sequence[float]) -> float:
    """Independent values that tell as much of the mean: n · (1 − r) ÷ (1 + r), if autocorrelation r is shown.

    r is shown above 1.96 ÷ √n; below it, and where it is negative, all n count. Exact for values that each keep
    the share r of the one before.
    """
    n, r = len(values), autocorrelation(values)
    if r is None or r <= normal_quantile((1 + LEVEL) / 2) / sqrt(n):
        return float(n)
    return max(1.0, n * (1 - r) / (1 + r))


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """Mean of the second − mean of the first, with Welch's interval, in the unit of the values.

    ``t``, ``df`` and ``p`` (two-sided) are None where neither sample has any spread; the interval is then a point.
    """

    difference: float
    interval: Interval
    t: float | None
    df: float | None
    p: float | None


def mean_difference(first: Sequence[float], second: Sequence[float]) -> MeanDifference | None:
    """Welch 1947 with effective counts, of values in time order; None where a sample tells less than two."""
    n1, n2 = effective_count(first), effective_count(second)
    s1, s2 = deviation(first), deviation(second)
    if s1 is None or s2 is None or min(n1, n2) < 2:
        return None
    difference = mean(second) - mean(first)
    v1, v2 = s1 * s1 / n1, s2 * s2 / n2
    error = sqrt(v1 + v2)
    if not error:
        return MeanDifference(difference, (difference, difference), None, None, None)
    df = (v1 + v2) ** 2 / (v1 * v1 / (n1 - 1) + v2 * v2 / (n2 - 1))
    half = t_quantile((1 + LEVEL) / 2, df) * error
    t = difference / error
    return MeanDifference(difference, (difference - half, difference + half), t, df, 2 * t_cdf(-abs(t), df))


@dataclass(frozen=True)
class Sample:
    """The steady cycles of one side in time order, and how many others there were; times in s.

    ``held`` to ``running`` count the cycles left out. Figures are None where too few cycles tell.
    """

    cycles: tuple[Cycle, ...]
    held: int
    unobserved: int
    aborted: int
    partial: int
    running: int

    @classmethod
    def of(cls, cycles: Iterable[Cycle]) -> Sample:
        """Of cycles in any order."""
        known = sorted(cycles, key=lambda c: c.start_us)
        over = [c for c in known if not c.open]
        return cls(
            tuple(steady_cycles(known)),
            sum(c.outcome == COMPLETE and c.held_us > 0 for c in over),
            sum(c.outcome == COMPLETE and not c.held_us and c.unobserved_us > 0 for c in over),
            sum(c.outcome == ABORTED for c in over),
            sum(c.outcome == PARTIAL for c in over),
            len(known) - len(over),
        )

    @property
    def count(self) -> int:
        """Steady cycles."""
        return len(self.cycles)

    @property
    def left_out(self) -> int:
        """The other cycles."""
        return self.held + self.unobserved + self.aborted + self.partial + self.running

    @cached_property
    def values_s(self) -> tuple[float, ...]:
        """Cycle times."""
        return tuple(c.duration_us / SECOND_US for c in self.cycles)

    @cached_property
    def mean_s(self) -> float | None:
        """Mean cycle time."""
        return mean(self.values_s) if self.cycles else None

    @cached_property
    def median_s(self) -> float | None:
        """Median cycle time."""
        return quantile(sorted(self.values_s), 0.5) if self.cycles else None

    @cached_property
    def deviation_s(self) -> float | None:
        """Spread of the cycle times."""
        return deviation(self.values_s)

    @cached_property
    def autocorrelation(self) -> float | None:
        """Tie of each cycle time to the one before."""
        return autocorrelation(self.values_s)

    @cached_property
    def effective(self) -> float:
        """Independent cycles that tell as much of the mean."""
        return effective_count(self.values_s)

    @property
    def parts(self) -> int:
        """Parts that the steady cycles made."""
        return sum(c.parts for c in self.cycles)

    @property
    def per_part_s(self) -> float | None:
        """Cycle time per part: sum over sum."""
        return sum(c.duration_us for c in self.cycles) / self.parts / SECOND_US if self.parts else None

    def step_s(self, step: str) -> list[float]:
        """Seconds of each cycle in one step."""
        place = STEPS.index(step)
        return [c.step_us[place] / SECOND_US for c in self.cycles]

    def tool_s(self, tool: str) -> list[float]:
        """Seconds of each cycle with one tool in the spindle, 0 where it was not used."""
        return [sum(u.in_spindle_us for u in c.tools if u.tool == tool) / SECOND_US for c in self.cycles]

    @property
    def tools(self) -> set[str]:
        """The tools used; none where the machine does not tell them."""
        return {use.tool for c in self.cycles for use in c.tools}


@dataclass(frozen=True, slots=True)
class Piece:
    """A step or a tool (in the spindle), seconds per cycle in both samples; ``change`` None: too few tell."""

    kind: str
    name: str
    first_mean_s: float
    second_mean_s: float
    change: MeanDifference | None


@dataclass(frozen=True)
class Study:
    """Two samples compared; ``steps`` are those that both can tell apart."""

    first: Sample
    second: Sample
    steps: tuple[str, ...] = STEPS

    @cached_property
    def means(self) -> MeanDifference | None:
        """Difference of the means, s."""
        return mean_difference(self.first.values_s, self.second.values_s)

    @cached_property
    def ranks(self) -> Ranks | None:
        """Comparison by ranks, in µs; None where a sample is empty."""
        if not self.first.cycles or not self.second.cycles:
            return None
        times = [[float(c.duration_us) for c in sample.cycles] for sample in (self.first, self.second)]
        return Ranks.of(*times)

    @cached_property
    def shift_s(self) -> float | None:
        """Shift of the typical cycle (Hodges and Lehmann)."""
        return self.ranks.shift / SECOND_US if self.ranks else None

    @cached_property
    def shift_interval_s(self) -> Interval | None:
        """Interval of the shift."""
        found = self.ranks.shift_interval if self.ranks else None
        return (found[0] / SECOND_US, found[1] / SECOND_US) if found else None

    @cached_property
    def ruling(self) -> str:
        """faster, slower (both intervals on one side of 0), unclear (only one is), not_shown or too_few."""
        if min(self.first.count, self.second.count) < FEWEST or not self.means or not self.shift_interval_s:
            return TOO_FEW
        sides = side(self.means.interval), side(self.shift_interval_s)
        if sides[0] != sides[1]:
            return UNCLEAR
        return {-1: FASTER, 1: SLOWER, 0: NOT_SHOWN}[sides[0]]

    @cached_property
    def pieces(self) -> list[Piece]:
        """Steps in their order, then tools, those that changed most first; none where a sample is empty.

        Seconds of the steps add up to the cycle; held is left out, for steady cycles have none.
        """
        if not self.first.cycles or not self.second.cycles:
            return []
        steps = [_piece("step", s, self.first.step_s(s), self.second.step_s(s)) for s in self.steps if s != HELD]
        both = self.first.tools and self.second.tools
        named = sorted(self.first.tools | self.second.tools) if both else []
        tools = [_piece("tool", t, self.first.tool_s(t), self.second.tool_s(t)) for t in named]
        return steps + sorted(tools, key=lambda p: -abs(p.second_mean_s - p.first_mean_s))


def side(interval: Interval) -> int:
    """−1 where an interval lies below 0, 1 above it, 0 where it holds 0."""
    return (interval[0] > 0) - (interval[1] < 0)


def _piece(kind: str, name: str, first: Sequence[float], second: Sequence[float]) -> Piece:
    return Piece(kind, name, mean(first), mean(second), mean_difference(first, second))


FIGURES = (
    Definition("mean_difference", "x̄₂ − x̄₁", "s", "second against first; negative: faster", NIST + " 7.3.1"),
    Definition(
        "mean_difference_interval",
        "x̄₂ − x̄₁ ± t · √(s₁² ÷ n₁′ + s₂² ÷ n₂′)",
        "s",
        "where the difference lies, 95 %",
        "Welch 1947; " + NIST + " 7.3.1",
    ),
    Definition("effective_cycles", "n′ = n · (1 − r) ÷ (1 + r)", "1", "cycles that count", "textbook"),
    Definition("shift", "median of all x₂ − x₁", "s", "change of the typical cycle", "Hodges & Lehmann 1963"),
    Definition("shift_interval", "outer x₂ − x₁ that U allows", "s", "95 %", "Hollander & Wolfe"),
    Definition("second_faster", "share of pairs with x₂ < x₁", "1", "ties count half", "Mann & Whitney 1947"),
    Definition("rank_p", "P(U so far out without a difference)", "1", "two-sided", "Mann & Whitney 1947"),
)
