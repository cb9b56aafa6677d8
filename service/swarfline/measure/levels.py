"""Level steps: places in a series where the level changed for good, and by how much.

A place is judged by the rank sum (Wilcoxon 1945, Mann & Whitney 1947) of what lies before and after it: ranks are
deaf to how far off a stray value is. Places are first sought in pieces of many lengths; then each is sought and
judged again between its neighbours, and the weakest left out, until nothing moves.
A drift ties neighbours together, and so comes out as few stairs or none.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt

from swarfline.calendar import Interval
from swarfline.measure.distributions import normal_cdf, t_quantile
from swarfline.measure.trend import autocorrelation, mean

LEAST_VALUES = 10
"""A level lasts at least so many values (own choice)."""

ALPHA = 0.01
"""A step is told when chance alone makes one as clear with less than this probability (own choice)."""

CONFIDENCE = 0.95
"""Of the interval of a step's size."""

TRIM = 10
"""One in so many values is left out at either end of a level, in means and intervals."""

MOST_TIED = 0.9
"""A higher tie between neighbours is not believed; it would leave no independent values."""

ROUNDS = 50
"""Places are sought anew at most so often in a row; they settle within a few rounds."""


@dataclass(frozen=True, slots=True)
class Split:
    """The best place to part a series: the first ``place`` values are one level.

    ``z`` is the standardised rank sum, above 0 where the second level is higher. ``p`` is its two-sided
    probability by the normal approximation, times the number of places looked at (Bonferroni), with z made smaller
    by √((1 − r) ÷ (1 + r)) for the ``tie`` r between neighbours inside the levels, where that is above 0;
    ``p_untied`` is the one without that.
    """

    place: int
    z: float
    tie: float
    p: float
    p_untied: float


def best_split(values: Sequence[float]) -> Split | None:
    """Where ``values`` part best; None for too few, or when all are equal. O(n log n)."""
    n = len(values)
    if n < 2 * LEAST_VALUES:
        return None
    ranks, tied = mid_ranks(values)
    unit = (n + 1 - tied / (n * (n - 1))) / 12
    if unit <= 0:
        return None
    place, best, below = 0, 0.0, fsum(ranks[: LEAST_VALUES - 1])
    for k in range(LEAST_VALUES, n - LEAST_VALUES + 1):
        below += ranks[k - 1]
        z = (k * (n + 1) / 2 - below) / sqrt(k * (n - k) * unit)
        if abs(z) > abs(best):
            place, best = k, z
    if not place:
        return None
    tie, places = tie_inside(ranks, place), n - 2 * LEAST_VALUES + 1
    damped = best * sqrt((1 - tie) / (1 + tie))
    return Split(place, best, tie, _chance(damped, places), _chance(best, places))


def _chance(z: float, places: int) -> float:
    return min(1.0, places * 2 * normal_cdf(-abs(z)))


def mid_ranks(values: Sequence[float]) -> tuple[list[float], int]:
    """Rank of each value from 1, equal ones sharing the mean of theirs; and Σ (t³ − t) over groups of equals."""
    order = sorted(range(len(values)), key=values.__getitem__)
    ranks, tied, at = [0.0] * len(values), 0, 0
    while at < len(order):
        end = at + 1
        while end < len(order) and values[order[end]] == values[order[at]]:
            end += 1
        for place in order[at:end]:
            ranks[place] = (at + end + 1) / 2
        tied += (end - at) ** 3 - (end - at)
        at = end
    return ranks, tied


def tie_inside(values: Sequence[float], place: int) -> float:
    """Lag-1 autocorrelation inside the two levels, 0 to MOST_TIED."""
    means = fsum(values[:place]) / place, fsum(values[place:]) / (len(values) - place)
    apart = [v - means[i >= place] for i, v in enumerate(values)]
    return min(MOST_TIED, max(0.0, autocorrelation(apart) or 0.0))


def find_steps(values: Sequence[float], least_share: float = 0.0) -> list[tuple[int, Split]]:
    """Places (from 0) at which a new level begins, each with the Split found between its neighbours, in order.

    Steps smaller than ``least_share`` of the level before are left out, and the levels beside them taken together.
    O(n log² n), and what the joining of levels takes.
    """
    search = _Search(values)
    edges = search.grown()
    while True:
        edges = search.settled(edges)
        weakest = search.weakest(edges, least_share)
        if weakest is None:
            break
        del edges[weakest]
    found = [(edges[i], search.split(edges[i - 1], edges[i + 1])) for i in range(1, len(edges) - 1)]
    return [(place, split) for place, split in found if split is not None]


def seeded(count: int) -> list[Interval]:
    """Pieces of ``count`` values to look at: all, halves, quarters and so on, each overlapped by half.

    After Kovács, Bühlmann, Li & Munk, Seeded binary segmentation, Biometrika 110 (2023): in one of them any step
    stands nearly alone, which in the whole series others may hide. Together they hold less than 2 n log₂ n values.
    """
    pieces: list[Interval] = []
    length = count
    while length >= 2 * LEAST_VALUES:
        number = 2 * -(-count // length) - 1
        lefts = (i * (count - length) // (number - 1) if number > 1 else 0 for i in range(number))
        pieces += [(left, left + length) for left in lefts]
        length = -(-length // 2)
    return pieces


class _Search:
    """What was already worked out about pieces of one series; edges hold its ends and the places between."""

    def __init__(self, values: Sequence[float]) -> None:
        self._values = values
        self._splits: dict[tuple[int, int], Split | None] = {}
        self._levels: dict[tuple[int, int], float] = {}

    def split(self, left: int, right: int) -> Split | None:
        """The best split of one piece."""
        if (left, right) not in self._splits:
            self._splits[left, right] = best_split(self._values[left:right])
        return self._splits[left, right]

    def _level(self, left: int, right: int) -> float:
        if (left, right) not in self._levels:
            self._levels[left, right] = Level.of(self._values[left:right]).mean
        return self._levels[left, right]

    def grown(self) -> list[int]:
        """Every place that may be one, from the shortest pieces that show it.

        The tie is not yet asked for: levels not yet parted would look like it.
        """
        edges = [0, len(self._values)]
        for left, right in sorted(seeded(len(self._values)), key=lambda piece: piece[1] - piece[0]):
            if bisect_right(edges, left) == bisect_left(edges, right):
                found = self.split(left, right)
                if found is not None and found.p_untied <= ALPHA:
                    insort(edges, left + found.place)
        return edges

    def settled(self, edges: Sequence[int]) -> list[int]:
        """The edges, each where it parts its neighbours best."""
        now = list(edges)
        for _ in range(ROUNDS):
            before = list(now)
            for i in range(1, len(now) - 1):
                found = self.split(now[i - 1], now[i + 1])
                now[i] = now[i - 1] + found.place if found else now[i]
            if now == before:
                break
        return now

    def weakest(self, edges: Sequence[int], least_share: float) -> int | None:
        """Which edge is to go first: the least certain, or else the smallest; None when all may stay."""
        doubts: list[tuple[float, float, int]] = []
        for i in range(1, len(edges) - 1):
            found = self.split(edges[i - 1], edges[i + 1])
            p = found.p if found else 1.0
            before, after = self._level(edges[i - 1], edges[i]), self._level(edges[i], edges[i + 1])
            lacking = least_share * abs(before) - abs(after - before)
            if p > ALPHA or lacking > 0:
                doubts.append((max(p, ALPHA), lacking, i))
        return max(doubts)[2] if doubts else None


@dataclass(frozen=True, slots=True)
class Level:
    """Mean of the values without the lowest and the highest tenth, and its variance (Tukey & McLaughlin 1963).

    ``variance`` is the winsorised one of the mean, of independent values; ``kept`` values enter the mean.
    """

    mean: float
    variance: float
    kept: int

    @classmethod
    def of(cls, values: Sequence[float]) -> Level:
        """The level of a series; raises ValueError for none."""
        ordered = sorted(values)
        n, cut = len(ordered), len(ordered) // TRIM
        inner = ordered[cut : n - cut]
        winsorised = [inner[0]] * cut + inner + [inner[-1]] * cut
        centre, kept = mean(winsorised), len(inner)
        square = fsum((v - centre) ** 2 for v in winsorised)
        return cls(mean(inner), square / (kept * (kept - 1)) if kept > 1 else 0.0, kept)


@dataclass(frozen=True, slots=True)
class Size:
    """After less before, of trimmed means, with its interval of CONFIDENCE."""

    size: float
    low: float
    high: float


def step_size(before: Sequence[float], after: Sequence[float], tie: float = 0.0) -> Size:
    """Yuen's interval (Biometrika 61, 1974) of the difference of two trimmed means, in the unit of the values.

    It is widened by √((1 + r) ÷ (1 − r)) for the ``tie`` r between neighbours. Raises ValueError for no values.
    """
    first, second = Level.of(before), Level.of(after)
    size, together = second.mean - first.mean, first.variance + second.variance
    if not together:
        return Size(size, size, size)
    terms = ((level.variance, level.kept) for level in (first, second) if level.variance)
    freedom = together**2 / fsum(v * v / (kept - 1) for v, kept in terms)
    half = t_quantile((1 + CONFIDENCE) / 2, freedom) * sqrt(together * (1 + tie) / (1 - tie))
    return Size(size, size - half, size + half)
