"""Which steps of a cycle and which tools account for a level step of the cycle time, without remainder."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from swarfline.facts import STEPS, Cycle
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.levels import TRIM, Split, find_steps, step_size
from swarfline.measure.trend import Individuals, Trend, individuals, steady_cycles


@dataclass(frozen=True, slots=True)
class ToolShare:
    """What one tool adds to the difference, µs: its cutting, and the rest of its time in the spindle."""

    tool: str
    cutting_us: Fraction
    other_us: Fraction

    @property
    def both_us(self) -> Fraction:
        """All of its time in the spindle."""
        return self.cutting_us + self.other_us


@dataclass(frozen=True, slots=True)
class Shares:
    """After less before, mean per cycle in exact µs, shared out in two ways that each sum to ``size_us``.

    ``step_us`` goes by step of the cycle; ``tools`` (largest first) and ``no_tool_us``, time in which no tool was
    known, go by tool.
    """

    size_us: Fraction
    step_us: dict[str, Fraction]
    tools: tuple[ToolShare, ...]
    no_tool_us: Fraction


def shares(before: Sequence[Cycle], after: Sequence[Cycle]) -> Shares:
    """Shares in the difference of the means; raises ZeroDivisionError where there is no cycle on a side."""
    size = _mean(after, _length) - _mean(before, _length)
    steps = {step: _step_mean(after, i) - _step_mean(before, i) for i, step in enumerate(STEPS)}
    first, second = _tool_means(before), _tool_means(after)
    tools = [_share(tool, first, second) for tool in sorted({*first, *second})]
    tools.sort(key=lambda share: -abs(share.both_us))
    return Shares(size, steps, tuple(tools), size - sum((t.both_us for t in tools), Fraction(0)))


def typical(cycles: Iterable[Cycle]) -> list[Cycle]:
    """The cycles without the shortest and the longest tenth, which is what a Level is the mean of."""
    ordered = sorted(cycles, key=lambda c: (c.duration_us, c.start_us))
    cut = len(ordered) // TRIM
    return ordered[cut : len(ordered) - cut]


def _length(cycle: Cycle) -> int:
    return cycle.duration_us


def _mean(cycles: Sequence[Cycle], of: Callable[[Cycle], int]) -> Fraction:
    return Fraction(sum(map(of, cycles)), len(cycles))


def _step_mean(cycles: Sequence[Cycle], index: int) -> Fraction:
    return _mean(cycles, lambda c: c.step_us[index])


def _tool_means(cycles: Sequence[Cycle]) -> dict[str, tuple[Fraction, Fraction]]:
    """Mean µs per cycle of cutting and of other time in the spindle, by tool."""
    sums: dict[str, tuple[int, int]] = {}
    for cycle in cycles:
        for use in cycle.tools:
            cutting, spindle = sums.get(use.tool, (0, 0))
            sums[use.tool] = cutting + use.cutting_us, spindle + use.in_spindle_us
    n = len(cycles)
    return {tool: (Fraction(c, n), Fraction(spindle - c, n)) for tool, (c, spindle) in sums.items()}


def _share(
    tool: str, first: dict[str, tuple[Fraction, Fraction]], second: dict[str, tuple[Fraction, Fraction]]
) -> ToolShare:
    nothing = Fraction(0), Fraction(0)
    before, after = first.get(tool, nothing), second.get(tool, nothing)
    return ToolShare(tool, after[0] - before[0], after[1] - before[1])


@dataclass(frozen=True, slots=True)
class LevelStep:
    """The cycle time of one machine, program and part changed its level.

    ``at_us`` is the start of the first cycle of the new level, ``last_us`` that of the last one of the level
    before; ``since_us`` and ``until_us`` are the starts of the first cycle of the level before and of the last
    one of the new level. ``before_us`` and ``after_us`` are the levels: exact means of typical cycles.
    ``low_us`` and ``high_us`` bound the size with 95 % confidence; ``split`` tells how sure the step is.
    """

    since_us: int
    last_us: int
    at_us: int
    until_us: int
    cycles_before: int
    cycles_after: int
    before_us: Fraction
    after_us: Fraction
    low_us: float
    high_us: float
    split: Split
    shares: Shares

    @property
    def size_us(self) -> Fraction:
        """After less before."""
        return self.after_us - self.before_us


def level_steps(cycles: Iterable[Cycle], least_share: float = 0.0) -> list[LevelStep]:
    """The level steps of cycles of one machine, program and part, in time order; only steady cycles enter.

    Steps smaller than ``least_share`` of the level before are left out. ``cycles`` may come in any order.
    """
    steady = sorted(steady_cycles(cycles), key=lambda c: c.start_us)
    found = find_steps([float(c.duration_us) for c in steady], least_share)
    edges = [0, *(place for place, _ in found), len(steady)]
    return [
        _level_step(steady[edges[i] : edges[i + 1]], steady[edges[i + 1] : edges[i + 2]], split)
        for i, (_, split) in enumerate(found)
    ]


@dataclass(frozen=True, slots=True)
class LevelChart:
    """Individuals chart of one level alone, in s, whose cycles began from ``start_us`` to ``last_us``, both in."""

    start_us: int
    last_us: int
    chart: Individuals


def level_charts(trend: Trend, steps: Sequence[LevelStep]) -> list[LevelChart]:
    """A chart of each level between the steps of a trend, in time order: one where there is no step.

    Limits of all of them together lie where a step parts them, and hardly a cycle does. None without any cycle.
    """
    starts = trend.starts_us
    edges = [0, *(bisect_left(starts, step.at_us) for step in steps), len(starts)]
    return [
        LevelChart(starts[left], starts[right - 1], individuals(trend.values_s[left:right]))
        for left, right in pairwise(edges)
        if left < right
    ]


def _level_step(before: Sequence[Cycle], after: Sequence[Cycle], split: Split) -> LevelStep:
    first, second = typical(before), typical(after)
    size = step_size([float(c.duration_us) for c in before], [float(c.duration_us) for c in after], split.tie)
    return LevelStep(
        before[0].start_us,
        before[-1].start_us,
        after[0].start_us,
        after[-1].start_us,
        len(before),
        len(after),
        _mean(first, _length),
        _mean(second, _length),
        size.low,
        size.high,
        split,
        shares(first, second),
    )


FIGURES = (
    Definition("level_step_size", "level after − level before", "s", "the cycle time changed for good by", OURS),
    Definition("level_step_interval", "size ± t · √(d₁ + d₂)", "s", "95 % interval of the size", "Yuen 1974"),
    Definition(
        "level_step_p",
        "places · 2 · (1 − Φ(|z|))",
        "1",
        "chance makes one as clear",
        "Mann & Whitney 1947; Bonferroni",
    ),
    Definition(
        "level_step_shares", "mean after − mean before, by step or tool", "s", "what accounts for it", OURS
    ),
)
