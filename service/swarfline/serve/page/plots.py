"""Shapes of distributions, runs and differences for small SVGs: paths without text or style, 1000 units wide.

Their texts stand in HTML beside them, so that they do not shrink with the shapes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from swarfline.calendar import Interval
from swarfline.measure.trend import quantile
from swarfline.serve.page.ribbon import HEIGHT, WIDTH

TALL = 200
"""Height of the box of a distribution or a run."""

MOST_BINS = 60
_CUT = 0.01
"""Share of a sample at either end that need not be in sight; what is not is counted."""

_HAIR = 1e-6
"""Share of a bin by which a value may lie below an edge and still count as on it, for decimals are not exact."""

_NICE = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Frame:
    """Bins of equal width, in the unit of the values, from ``low`` on."""

    low: float
    width: float
    number: int

    @property
    def high(self) -> float:
        """The end of the last bin, which holds it."""
        return self.low + self.width * self.number

    def x(self, value: float) -> float:
        """Where a value lies in the box, 0 to WIDTH, at its edge where it lies outside."""
        return WIDTH * min(max((value - self.low) / (self.high - self.low), 0.0), 1.0)

    def edges(self, place: int) -> tuple[float, float]:
        """The ends of a bin."""
        return self.low + place * self.width, self.low + (place + 1) * self.width


@dataclass(frozen=True, slots=True)
class Histogram:
    """How many values fall into each bin of a frame, and how many lie below and above it."""

    frame: Frame
    counts: tuple[int, ...]
    below: int
    above: int

    @property
    def path(self) -> str:
        """The bars; the highest fills the box, so that two samples of different size can be held together."""
        top, step = max(self.counts, default=0) or 1, WIDTH / self.frame.number
        bars = ((i * step, TALL * (1 - count / top)) for i, count in enumerate(self.counts) if count)
        return "".join(f"M{x:.5g} {TALL}V{y:.5g}H{x + step * 0.94:.5g}V{TALL}Z" for x, y in bars)

    @property
    def rows(self) -> list[tuple[float, float, int]]:
        """The bins that hold values, with their ends."""
        return [(*self.frame.edges(i), count) for i, count in enumerate(self.counts) if count]


def frame(samples: Sequence[Sequence[float]], marks: Sequence[float | None] = ()) -> Frame | None:
    """Bins for samples of values on one scale; None without any value. ``marks`` (as a plan) count too.

    98 % of each sample are in sight, and what lies near. The width is the rule of Freedman and Diaconis (1981),
    2 · IQR ÷ ∛n, for the sample that asks for the finest, made a round figure.
    """
    known = [sorted(values) for values in samples if values]
    if not known:
        return None
    edges = [(quantile(v, _CUT), quantile(v, 1 - _CUT)) for v in known]
    low, high = min(e[0] for e in edges), max(e[1] for e in edges)
    reach = (high - low) / 2
    every = [*(v for values in known for v in values), *(m for m in marks if m is not None)]
    low = min(v for v in [low, *every] if v >= low - reach)
    high = max(v for v in [high, *every] if v <= high + reach)
    rules = [2 * (quantile(v, 0.75) - quantile(v, 0.25)) / len(v) ** (1 / 3) for v in known]
    finest = min((r for r in rules if r > 0), default=0.0)
    width = _round_up(max(finest, (high - low) / (MOST_BINS - 2), abs(high) * 1e-4, 1e-6))
    start = floor(low / width + _HAIR)
    return Frame(start * width, width, max(1, floor(high / width + _HAIR) + 1 - start))


def _round_up(width: float) -> float:
    power = 10.0 ** floor(log10(width))
    return next(nice * power for nice in _NICE if nice * power >= width * (1 - 1e-9))


def histogram(values: Sequence[float], bins: Frame) -> Histogram:
    """Values by bin."""
    counts = [0] * bins.number
    below = above = 0
    for value in values:
        place = floor((value - bins.low) / bins.width + _HAIR)
        if place < 0:
            below += 1
        elif place >= bins.number:
            above += 1
        else:
            counts[place] += 1
    return Histogram(bins, tuple(counts), below, above)


@dataclass(frozen=True, slots=True)
class Run:
    """Values one after the other in a box of WIDTH × TALL, from ``low`` at its foot to ``high`` at its head."""

    low: float
    high: float
    dots: str
    line: str

    def level(self, value: float | None, left: float = 0.0, right: float = 1.0) -> str:
        """Path of a level line between two places from 0 to 1; empty where there is none or it lies outside."""
        if value is None or not self.low <= value <= self.high:
            return ""
        return f"M{WIDTH * left:.5g} {self.y(value):.5g}H{WIDTH * right:.5g}"

    def y(self, value: float) -> float:
        """Height of a value, from the head of the box."""
        return TALL * (self.high - value) / (self.high - self.low)


def near(values: Sequence[float], level: float | None, spreads: float = 1.0) -> float | None:
    """A level within so many times what the values are apart of them; None for others, which flatten the rest."""
    if level is None or not values:
        return None
    reach = spreads * (max(values) - min(values))
    return level if min(values) - reach <= level <= max(values) + reach else None


def run(places: Sequence[float], values: Sequence[float], levels: Sequence[float | None] = ()) -> Run | None:
    """A run of values at places from 0 to 1; None without any. ``levels`` are kept in sight."""
    if not values:
        return None
    every = [*values, *(level for level in levels if level is not None)]
    margin = (max(every) - min(every)) * 0.04 or max(abs(every[0]) * 0.01, 1e-6)
    box = Run(min(every) - margin, max(every) + margin, "", "")
    points = [(WIDTH * p, box.y(v)) for p, v in zip(places, values, strict=True)]
    dots = "".join(f"M{x:.5g} {y:.5g}h0" for x, y in points)
    return Run(box.low, box.high, dots, "M" + "L".join(f"{x:.5g} {y:.5g}" for x, y in points))


def boxes(spans: Iterable[Interval], span: Interval, top: float, bottom: float) -> str:
    """Path of a box for each of the spans that lie in ``span``, in a lane; none is too short to be seen."""
    scale = WIDTH / max(1, span[1] - span[0])
    found = (((a - span[0]) * scale, (b - span[0]) * scale) for a, b in spans)
    return "".join(
        f"M{left:.6g} {top:g}H{max(right, left + 1):.6g}V{bottom:g}H{left:.6g}Z" for left, right in found
    )


def upright(share: float) -> str:
    """Path of an upright line at a share of the width of a tall box."""
    return f"M{WIDTH * min(max(share, 0.0), 1.0):.5g} 0V{TALL}"


@dataclass(frozen=True, slots=True)
class Beam:
    """A difference as a bar from the middle of a lane: to the right where it is longer; and its interval."""

    bar: str
    interval: str


def beams(found: Sequence[tuple[float | None, float | None, float | None]]) -> list[Beam]:
    """Differences (value, low, high) on one scale; what is not known is empty."""
    largest = max((abs(v) for three in found for v in three if v is not None), default=0.0) or 1.0
    middle = WIDTH / 2

    def x(value: float) -> float:
        return middle + (middle - 4) * value / largest

    return [
        Beam(
            "" if value is None else f"M{middle:g} 4H{x(value):.5g}V{HEIGHT - 4}H{middle:g}Z",
            "" if low is None or high is None else _whisker(x(low), x(high)),
        )
        for value, low, high in found
    ]


def _whisker(left: float, right: float) -> str:
    half = HEIGHT // 2
    return f"M{left:.5g} {half}H{right:.5g}M{left:.5g} {half - 6}V{half + 6}M{right:.5g} {half - 6}V{half + 6}"


MIDDLE = f"M{WIDTH // 2} 0V{HEIGHT}"
"""The line of no difference in a lane of beams."""


def decimals(bins: Frame) -> int:
    """Digits after the decimal sign that tell the edges of bins apart."""
    return max(0, ceil(-log10(bins.width) - 1e-9))


def shares_of_time(times_us: Sequence[int], span: tuple[int, int]) -> list[float]:
    """Times as places from 0 to 1 of a span."""
    return [(t - span[0]) / max(1, span[1] - span[0]) for t in times_us]


def in_order(count: int) -> list[float]:
    """Places from 0 to 1 of so many values one after the other."""
    return [(i + 0.5) / count for i in range(count)]
