"""Whether values rise, told without a law of their spread: a robust slope, and a test by ranks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations
from math import fsum, sqrt
from statistics import median

from swarfline.measure.distributions import normal_cdf
from swarfline.measure.trend import autocorrelation


def robust_slope(places: Sequence[float], values: Sequence[float]) -> float | None:
    """Median slope of all pairs (Theil 1950, Sen 1968; from memory); None without two different places.

    The work grows with the square of their number.
    """
    pairs = combinations(zip(places, values, strict=True), 2)
    slopes = [(v - u) / (b - a) for (a, u), (b, v) in pairs if a != b]
    return median(slopes) if slopes else None


def rank_score(values: Sequence[float]) -> int:
    """Mann and Kendall's S: pairs that rise less pairs that fall, of values in order."""
    return sum((b > a) - (b < a) for a, b in combinations(values, 2))


def likeness(values: Sequence[float], least: float = 0.0) -> float:
    """How much neighbours in order wander alike: autocorrelation at lag 1 about a cubic, 0 at least, 0.9 at most.

    The cubic takes out a trend of any bend, which would look like wandering. It takes four values' freedom with
    it, so that r is expected too low: (n · r + 4) ÷ (n − 7) is taken (own choice, after the correction for a mean
    of Kendall 1954, from memory; measured as told in docs/figures.md). 0 for fewer than 10 values,
    and where their deviation from the cubic is below ``least``, too small to matter.
    """
    n = len(values)
    if n < 10:
        return 0.0
    off = _about_cubic(values)
    if fsum(d * d for d in off) <= max(n * least**2, 1e-18 * fsum(v * v for v in values)):
        return 0.0
    r = autocorrelation(off) or 0.0
    return min(0.9, max(0.0, (n * r + 4) / (n - 7)))


def _about_cubic(values: Sequence[float]) -> list[float]:
    """What is left of evenly spaced values without their least-squares cubic (Gram–Schmidt)."""
    places = [(2 * n + 1) / len(values) - 1 for n in range(len(values))]
    basis: list[list[float]] = []
    for power in range(4):
        basis.append(_less([place**power for place in places], basis))
    return _less(values, basis)


def _less(values: Sequence[float], basis: Sequence[Sequence[float]]) -> list[float]:
    """Values without their share in each of some directions that stand at right angles."""
    left = list(values)
    for one in basis:
        share = fsum(a * b for a, b in zip(left, one, strict=True)) / fsum(b * b for b in one)
        left = [a - share * b for a, b in zip(left, one, strict=True)]
    return left


def rise_chance(values: Sequence[float], alike: float = 0.0) -> float:
    """Chance that values in order without a trend rise as much as these do (one-sided, 0–1).

    Mann–Kendall by the normal law, with the variance corrected for ties and 1 taken off S for continuity (Mann
    1945, Kendall 1975; from memory). Where neighbours are ``alike``, the variance grows by (1 + alike) ÷
    (1 − alike) (after Yue & Wang 2004, from memory). Good from about 10 values on; 1 where none differ.
    """
    n, score = len(values), rank_score(values)
    ties = sum(t * (t - 1) * (2 * t + 5) for t in Counter(values).values())
    variance = (n * (n - 1) * (2 * n + 5) - ties) / 18 * (1 + alike) / (1 - alike)
    return 1 - normal_cdf((score - 1) / sqrt(variance)) if variance > 0 else 1.0
