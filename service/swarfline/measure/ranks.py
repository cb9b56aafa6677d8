"""Two samples compared by ranks: Mann–Whitney's U, the shift of Hodges and Lehmann, and who is faster how often.

Ranks care little for a few odd cycles, which a mean does. Times in any one unit.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from math import comb, floor, sqrt

from swarfline.measure.distributions import normal_cdf, normal_quantile

SMALL = 50
"""Samples that are both smaller and have no ties get the exact distribution of U (the limit is own choice)."""

LEVEL = 0.95
"""Of every interval."""

_HALVINGS = 50

Interval = tuple[float, float]
"""(low, high) of an interval of confidence"""


@dataclass(frozen=True)
class Ranks:
    """``first`` and ``second``, in the order of their size, of which neither may be empty.

    ``shift`` and all else is second against first: a negative shift says that the second is shorter.
    """

    first: Sequence[float]
    second: Sequence[float]

    @classmethod
    def of(cls, first: Sequence[float], second: Sequence[float]) -> Ranks:
        """Of values in any order; raises ValueError for none."""
        if not first or not second:
            raise ValueError("nothing to compare")
        return cls(sorted(first), sorted(second))

    @property
    def pairs(self) -> int:
        """Pairs of one value of each."""
        return len(self.first) * len(self.second)

    @cached_property
    def u(self) -> float:
        """U of the second: pairs in which its value is the greater one; equal ones count half."""
        above = sum(bisect_left(self.first, y) for y in self.second)
        to = sum(bisect_right(self.first, y) for y in self.second)
        return (above + to) / 2

    @property
    def second_is_less(self) -> float:
        """Probability that a value of the second is the smaller one; equal ones count half."""
        return 1 - self.u / self.pairs

    @cached_property
    def exact(self) -> bool:
        """Whether the distribution of U is taken exactly, not as normal."""
        together = (*self.first, *self.second)
        return max(len(self.first), len(self.second)) < SMALL and len(set(together)) == len(together)

    @cached_property
    def p(self) -> float:
        """Two-sided probability of a U so far out without a difference (Mann & Whitney 1947).

        Exact for small samples without ties, else normal with correction for continuity and ties.
        """
        far = max(self.u, self.pairs - self.u)
        if self.exact:
            ways = self._ways
            # U beyond its middle by symmetry: P(U ≥ far) = P(U ≤ pairs − far)
            return min(1.0, 2 * sum(ways[: round(self.pairs - far) + 1]) / sum(ways))
        spread = self._spread
        return min(1.0, 2 * normal_cdf(-(far - self.pairs / 2 - 0.5) / spread)) if spread else 1.0

    @cached_property
    def _ways(self) -> list[int]:
        """Orders of all values by the U that they give, from 0 to ``pairs``."""
        m, n = len(self.first), len(self.second)
        ways = [1] + [0] * self.pairs
        # product of (1 − q^(m+i)) ÷ (1 − q^i), the generating function of U
        for i in range(1, n + 1):
            for u in range(self.pairs, m + i - 1, -1):
                ways[u] -= ways[u - m - i]
            for u in range(i, self.pairs + 1):
                ways[u] += ways[u - i]
        return ways

    @cached_property
    def _spread(self) -> float:
        """Standard deviation of U without a difference, less for ties."""
        n = len(self.first) + len(self.second)
        ties = sum(t**3 - t for t in Counter((*self.first, *self.second)).values())
        return sqrt(self.pairs / 12 * (n + 1 - ties / (n * (n - 1)))) if n > 1 else 0.0

    @cached_property
    def shift(self) -> float:
        """Median of all differences second − first (Hodges & Lehmann 1963)."""
        middle = (self.pairs + 1) // 2
        lower = self.difference(middle)
        if self.pairs % 2 or self._count(lower) > middle:
            return lower
        return (lower + self._next_above(lower)) / 2

    @cached_property
    def shift_interval(self) -> Interval | None:
        """Interval of the shift: the differences that U allows at either end; None for too few values."""
        place = self._outer_place()
        if place is None:
            return None
        return self.difference(place), self.difference(self.pairs + 1 - place)

    def _outer_place(self) -> int | None:
        """Place of the lower end among the sorted differences (Hollander & Wolfe, section 4.3, from memory)."""
        tail = (1 - LEVEL) / 2
        if self.exact:
            most = tail * comb(len(self.first) + len(self.second), len(self.first))
            place = next(u for u, ways in enumerate(accumulate(self._ways)) if ways > most)
            return place or None
        place = floor(self.pairs / 2 + normal_quantile(tail) * self._spread)
        return place if place >= 1 else None

    def difference(self, place: int) -> float:
        """The difference second − first at a place from 1 to ``pairs`` in their order.

        Found by halving and counting, as the differences themselves may be too many to be listed.
        """
        low, high = self.second[0] - self.first[-1], self.second[-1] - self.first[0]
        below, above = self._count(low), self.pairs
        if below >= place:
            return low
        for _ in range(_HALVINGS):
            if above - below <= len(self.first) + len(self.second):
                return sorted(self._between(low, high))[place - below - 1]
            middle = (low + high) / 2
            found = self._count(middle)
            if found >= place:
                high, above = middle, found
            else:
                low, below = middle, found
        # as many equal ones as that: they are passed over, one after another
        while self._count(low) < place:
            low = self._next_above(low)
        return low

    def _count(self, most: float) -> int:
        """How many differences are at most that."""
        found = at = 0
        for x in self.first:
            while at < len(self.second) and self.second[at] - x <= most:
                at += 1
            found += at
        return found

    def _next_above(self, least: float) -> float:
        """The smallest difference above that."""
        found = self.second[-1] - self.first[0]
        at = 0
        for x in self.first:
            while at < len(self.second) and self.second[at] - x <= least:
                at += 1
            if at < len(self.second):
                found = min(found, self.second[at] - x)
        return found

    def _between(self, least: float, most: float) -> Iterator[float]:
        """The differences above the one and up to the other."""
        start = end = 0
        for x in self.first:
            while start < len(self.second) and self.second[start] - x <= least:
                start += 1
            while end < len(self.second) and self.second[end] - x <= most:
                end += 1
            yield from (self.second[at] - x for at in range(start, end))
