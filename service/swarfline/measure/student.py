"""Student's t distribution for whole degrees of freedom."""

from __future__ import annotations

from functools import lru_cache
from math import atan, cos, pi, sin, sqrt

_HALVINGS = 100
"""Enough to come to the last bit of a float."""


def cdf(t: float, freedom: int) -> float:
    """Probability that a value lies at or below ``t``; ``freedom`` is at least 1.

    The finite series of Abramowitz & Stegun 26.7.3 and 26.7.4 (from memory), exact for whole degrees of freedom.
    """
    angle = atan(t / sqrt(freedom))
    c, odd = cos(angle), freedom % 2
    term = c if odd else 1.0
    series = 0.0 if freedom == 1 else term
    for n in range(2 + odd, freedom - 1, 2):
        term *= c * c * (n - 1) / n
        series += term
    inside = (angle + sin(angle) * series) * 2 / pi if odd else sin(angle) * series
    return (1 + inside) / 2


@lru_cache(maxsize=1024)
def quantile(p: float, freedom: int) -> float:
    """The value that a share ``p`` (0 to 1, neither end) of all values lies at or below."""
    if p < 0.5:
        return -quantile(1 - p, freedom)
    low, high = 0.0, 1.0
    while cdf(high, freedom) < p:
        low, high = high, 2 * high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if cdf(middle, freedom) < p:
            low = middle
        else:
            high = middle
    return high
