"""Spindle load of a tool over its life: does it rise faster than in earlier lives, or than wear lets expect.

Loads of a program are held against the same program's loads: of earlier lives of the tool at the same share of
life, or, where there are none, of the first tenth of this life. The ratios, thinned to blocks of cycles, are asked
for a rising trend.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from swarfline.facts import ToolLife, ToolUse
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.lives import FAILED, ending
from swarfline.measure.tendency import likeness, rise_chance, robust_slope

EARLIER, FIRST_TENTH, NONE = "earlier_lives", "first_tenth", "none"
"""What a life is held against."""

RISING, STEADY, UNKNOWN = "rising", "steady", "unknown"

BLOCKS = 40
"""The cycles of a life are thinned to so many blocks of equal number, each told by its medians."""

LEAST_BLOCKS = 10
"""A trend is looked for in so many blocks at least."""

BLOCK_CYCLES = 3
"""A block holds so many cycles at least."""

BINS = 10
"""Earlier lives are told by so many equal shares of life."""

CHANCE = 0.001
"""A rise that comes about by chance less often than this is one (own choice; see docs/figures.md)."""

LEAST_RISE = {EARLIER: 0.1, FIRST_TENTH: 0.4}
"""Share by which the load must lie above its baseline and have grown in this life: more, where ordinary wear is
in it (own choice)."""


CALM = 0.01
"""Load ÷ baseline that wanders by less than this (standard deviation) cannot be taken for a rise."""


class Load(NamedTuple):
    """One cycle's load of one tool: the share of life used before it, mean and peak in % while cutting."""

    at: float
    mean: float
    peak: float


def life_loads(
    life: ToolLife, uses: Sequence[tuple[str, ToolUse]], whole_life: float, every: int = 1
) -> dict[str, list[Load]]:
    """Loads of a tool by program over one life, in time order.

    ``uses`` are (program, use) of complete cycles of the life in time order, each ``every``-th of those there
    were; ``whole_life`` (above 0) is what shares are of. What had been used before a cycle is reckoned back from
    what has been used by now.
    """
    found: dict[str, list[Load]] = {}
    used = life.used
    for program, use in reversed(uses):
        used -= every * (use.life_used or 0.0)
        if use.load_mean is not None and use.load_peak is not None:
            found.setdefault(program, []).append(Load(max(0.0, used) / whole_life, use.load_mean, use.load_peak))
    return {program: loads[::-1] for program, loads in found.items()}


EARLIER_LIVES = 3
"""So many latest earlier lives of a tool are its baseline."""


def earlier_lives(present: ToolLife, lives: Iterable[ToolLife]) -> list[ToolLife]:
    """The latest lives of a tool that ended before the present one began, got as far as it, and did not fail."""
    share = present.used / (present.limit or 1.0)
    alike = [
        life
        for life in lives
        if (life.machine, life.tool, life.basis) == (present.machine, present.tool, present.basis)
        and not life.open
        and life.end_us <= present.start_us
        and life.used / (life.limit or 1.0) >= share
        and ending(life) != FAILED
    ]
    return sorted(alike, key=lambda life: life.end_us)[-EARLIER_LIVES:]


def whole_life(life: ToolLife, earlier: Sequence[ToolLife]) -> float | None:
    """What the shares of a life are of: its limit, or without one the median of what earlier lives used."""
    used = [n.used for n in earlier if n.used > 0]
    return life.limit or (median(used) if used else None)


@dataclass(frozen=True, slots=True)
class LoadTrend:
    """The load of one tool and program over its present life; None where it cannot be told.

    ``now`` is the newest tenth of its cycles, ``expected`` the baseline at the same share of life (medians both).
    ``rise`` and ``peak_rise`` are now ÷ expected − 1. ``slope`` is the robust slope of mean load ÷ baseline per
    whole life, ``growth`` what it comes to over the part of the life that was seen, ``chance`` that of a rise like
    this without a trend.
    """

    cycles: int
    baseline: str = NONE
    earlier_lives: int = 0
    now: Load | None = None
    expected: Load | None = None
    rise: float | None = None
    peak_rise: float | None = None
    slope: float | None = None
    growth: float | None = None
    chance: float | None = None
    sign: str = UNKNOWN


def load_trend(loads: Sequence[Load], earlier: Iterable[Sequence[Load]] = ()) -> LoadTrend:
    """Trend of one program's loads in a life, in time order; ``earlier``: those of earlier lives."""
    known = [life for life in earlier if life]
    if not loads:
        return LoadTrend(0)
    now = _typical(loads[-max(BLOCK_CYCLES, len(loads) // 10) :])
    baseline, curve = _baseline(loads, known, now.at)
    expected = curve(now.at)
    if expected is None:
        return LoadTrend(len(loads), earlier_lives=len(known), now=now)
    trend = _trend(loads, curve)
    rise = _above(now.mean, expected.mean)
    return LoadTrend(
        len(loads),
        baseline,
        len(known),
        now,
        expected,
        rise,
        _above(now.peak, expected.peak),
        *trend,
        _sign(rise, trend, LEAST_RISE[baseline]),
    )


_Curve = Callable[[float], Load | None]


def _baseline(loads: Sequence[Load], earlier: Sequence[Sequence[Load]], at: float) -> tuple[str, _Curve]:
    """What loads are held against, by share of life; that of earlier lives, if it reaches as far as ``at``."""
    points = _points(earlier)
    if points and points[0].at <= at <= points[-1].at + 1 / BINS:
        return EARLIER, lambda share: _between(points, share)
    fresh = [n for n in loads if n.at < 1 / BINS]
    level = _typical(fresh) if len(fresh) >= BLOCK_CYCLES else None
    return FIRST_TENTH, lambda share: level


def _points(earlier: Sequence[Sequence[Load]]) -> list[Load]:
    """The load of earlier lives by share of life: the typical one of each life per bin, and of these again."""
    bins: dict[int, list[Load]] = {}
    for loads in earlier:
        mine: dict[int, list[Load]] = {}
        for load in loads:
            mine.setdefault(int(load.at * BINS), []).append(load)
        for place, found in mine.items():
            bins.setdefault(place, []).append(_typical(found))
    return [_typical(bins[place]) for place in sorted(bins)]


def _between(points: Sequence[Load], share: float) -> Load | None:
    """The curve at a share of life: linear between its points, level for one bin beyond its ends, None farther."""
    place = bisect_left(points, share, key=lambda n: n.at)
    if place in (0, len(points)):
        end = points[0] if place == 0 else points[-1]
        return end if abs(share - end.at) <= 1 / BINS else None
    low, high = points[place - 1], points[place]
    part = (share - low.at) / (high.at - low.at)
    return Load(share, low.mean + part * (high.mean - low.mean), low.peak + part * (high.peak - low.peak))


def _typical(loads: Sequence[Load]) -> Load:
    return Load(median(n.at for n in loads), median(n.mean for n in loads), median(n.peak for n in loads))


class _Trend(NamedTuple):
    slope: float | None = None
    growth: float | None = None
    chance: float | None = None


def _trend(loads: Sequence[Load], curve: _Curve) -> _Trend:
    """Robust slope of mean load ÷ baseline per whole life, and the chance of such a rise without a trend."""
    count = min(BLOCKS, len(loads) // BLOCK_CYCLES)
    edges = [n * len(loads) // count for n in range(count + 1)] if count else []
    blocks = [_typical(loads[a:b]) for a, b in pairwise(edges)]
    held = [(block, base) for block in blocks if (base := curve(block.at)) is not None and base.mean > 0]
    if len(held) < LEAST_BLOCKS:
        return _Trend()
    shares, ratios = [block.at for block, _ in held], [block.mean / base.mean for block, base in held]
    slope = robust_slope(shares, ratios)
    if slope is None:
        return _Trend()
    return _Trend(slope, slope * (shares[-1] - shares[0]), rise_chance(ratios, likeness(ratios, CALM)))


def _above(value: float, base: float) -> float | None:
    return value / base - 1 if base > 0 else None


def _sign(rise: float | None, trend: _Trend, least: float) -> str:
    if rise is None or trend.growth is None or trend.chance is None:
        return UNKNOWN
    return RISING if trend.chance < CHANCE and min(rise, trend.growth) >= least else STEADY


FIGURES = (
    Definition("load_rise", "load of the newest tenth ÷ baseline − 1", "1", "load against what is usual", OURS),
    Definition(
        "load_slope",
        "median slope of load ÷ baseline over pairs of blocks",
        "1",
        "growth of that ratio per whole life",
        "Theil 1950, Sen 1968",
    ),
    Definition(
        "load_rise_chance",
        "1 − Φ((S − 1) ÷ √Var S), S: rising − falling pairs of blocks",
        "1",
        "chance of such a rise without a trend",
        "Mann 1945, Kendall 1975",
    ),
)
