"""Prediction interval for the sum of values to come, from the recent ones.

    sum of N values = N · x̄ ± t · s · √(N + N² ÷ n)

Textbook statistics (from memory): the second term under the root is the error of x̄ itself, without which the
interval is far too narrow for many values. Values that follow one another are taken in batches, so that what
swings from value to value or lasts for a few of them is in the spread as it is in the sum. Stops make times
skewed: the long ones are rare, and a history without one looks better than it is. So the t quantile is moved by
the first term of the Edgeworth series of the studentized error (Hall, The Bootstrap and Edgeworth Expansion, 1992,
from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import fsum, sqrt

from swarfline.measure.distributions import t_quantile

SHARE = 0.8
"""Share of the cases in which the truth lies within low and high."""

TAIL = (1 + SHARE) / 2

LARGEST_BATCH = 5
LEAST_BATCHES = 10
"""Batches are made smaller where there would be fewer than this."""

EXACT = 1e-9
"""Share of a value by which a quotient may miss a whole number through binary rounding."""

_t = lru_cache(maxsize=1024)(t_quantile)
"""Asked for again and again: the quantile is slow to find."""

_FARTHEST = 2**32
"""Nothing that lasts for more values than this is told."""


@dataclass(frozen=True, slots=True)
class Spread:
    """What recent values say about sums of those to come.

    ``mean`` is per value; ``deviation`` (n − 1) and ``skewness`` are those of the sums of ``batch`` values each,
    of which there are ``batches``, at least 2. Deviation in the unit of the values.
    """

    mean: float
    deviation: float
    skewness: float
    batch: int
    batches: int

    def margins(self, count: float, tail: float = TAIL) -> tuple[float, float]:
        """How far the sum of ``count`` values to come lies below (≤ 0) and above (≥ 0) ``count`` · mean.

        Beyond either margin lies a share 1 − ``tail`` of the cases.
        """
        return min(0.0, self._error(1 - tail, count)), max(0.0, self._error(tail, count))

    def _error(self, p: float, count: float) -> float:
        """What a share p of the errors lies below: t, moved by the skewness of error and deviation together."""
        n, k = count / self.batch, self.batches
        if n <= 0 or self.deviation == 0:
            return 0.0
        root = sqrt(n + n * n / k)
        t = _t(p, k - 1)
        link = -n / (k * root)
        skew = n * (1 - n * n / (k * k)) / root**3 - 3 * link
        return self.deviation * root * (t + self.skewness * (skew * (t * t - 1) / 6 - link / 2))

    def within(self, amount: float) -> tuple[int, int | None]:
        """Fewest and most values whose sum is at most ``amount``; None where no most can be told."""
        limit = amount + EXACT * self.mean
        return self._most(TAIL, limit) or 0, self._most(1 - TAIL, limit)

    def until(self, amount: float) -> tuple[int, int | None]:
        """Fewest and most values after which their sum is at least ``amount``; None where no most can be told."""
        limit = amount - EXACT * self.mean
        most = self._most(1 - TAIL, limit)
        return (self._most(TAIL, limit) or 0) + 1, None if most is None else most + 1

    def _most(self, p: float, limit: float) -> int | None:
        """Largest count whose sum, at that end of its interval, is at most ``limit``; None where there is none."""
        end = max if p > 0.5 else min

        def fits(count: int) -> bool:
            return count * self.mean + end(0.0, self._error(p, count)) <= limit

        low, high = 0, 1
        while fits(high):
            low, high = high, 2 * high
            if high > _FARTHEST:
                return None
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if fits(middle) else (low, middle)
        return low


def spread_of(
    values: Sequence[float], mean: float | None = None, largest_batch: int = LARGEST_BATCH, unseen: float = 0.0
) -> Spread | None:
    """Spread of values in the order in which they came, oldest first; None for fewer than two.

    ``mean`` per value stands in for that of the values. What does not fill a batch is left out at the old end.
    Where the worst that may come is rare, and so often not among the values, the largest batch counts ``unseen``
    times more.
    """
    batch = max(1, min(largest_batch, len(values) // LEAST_BATCHES))
    batches = len(values) // batch
    if batches < 2:
        return None
    first = len(values) - batches * batch
    sums = [fsum(values[i : i + batch]) for i in range(first, len(values), batch)]
    if mean is None:
        mean = fsum(sums) / (batches * batch)
    return Spread(mean, *_moments(sums, unseen), batch, batches)


def _moments(sums: Sequence[float], unseen: float) -> tuple[float, float]:
    """Deviation (n − 1) and skewness."""
    n, largest = len(sums) + unseen, max(sums)
    centre = (fsum(sums) + unseen * largest) / n

    def moment(power: int) -> float:
        return fsum((s - centre) ** power for s in sums) + unseen * (largest - centre) ** power

    deviation = sqrt(moment(2) / (n - 1))
    if deviation <= EXACT * abs(centre):
        return 0.0, 0.0
    return deviation, moment(3) / n / deviation**3
