"""Counters: how many between two readings, with roll-over and reset told apart.

A counter of width w that steps down by more than half its range rolled over; any other step down is a reset,
and what it shows afterwards counts from zero (common practice, no source; arithmetic in tests/outside).
"""

from __future__ import annotations


def step(previous: float, current: float, width: int) -> float:
    """What was counted between two readings of a counter of ``width`` bits."""
    if current >= previous:
        return current - previous
    modulus = 1 << width
    if previous < modulus and previous - current > modulus / 2:
        return current + modulus - previous
    return current


class Counter:
    """One counter of one machine; the first reading ever is a baseline, not production."""

    __slots__ = ("last", "width")

    def __init__(self, width: int) -> None:
        self.width = width
        self.last: float | None = None

    def take(self, value: object) -> float:
        """What this reading adds; 0 for a baseline or a value that is no number."""
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            return 0
        previous, self.last = self.last, value
        return 0 if previous is None else step(previous, value, self.width)
