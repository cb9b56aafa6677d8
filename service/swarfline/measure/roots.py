"""Where a function crosses zero, between two places at which its signs differ."""

from __future__ import annotations

from collections.abc import Callable

_STEPS = 200
_CLOSE = 1e-13
"""Share of the place at which two neighbouring places are the same."""


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """Place of a sign change in [low, high], by false position with the Illinois rule.

    Source: Dowell & Jarratt 1971 (from memory). Raises ValueError where the signs at the ends are the same.
    """
    at_low, at_high = function(low), function(high)
    if at_low == 0 or at_high == 0:
        return low if at_low == 0 else high
    if (at_low > 0) == (at_high > 0):
        raise ValueError(f"no change of sign between {low} and {high}")
    side = 0
    for step in range(_STEPS):
        # a bracket that shrinks from one side only is halved now and then
        middle = (low + high) / 2 if step % 8 == 7 else (low * at_high - high * at_low) / (at_high - at_low)
        found = function(middle)
        if found == 0 or abs(high - low) <= _CLOSE * abs(middle):
            return middle
        if (found > 0) == (at_high > 0):
            high, at_high = middle, found
            at_low, side = (at_low / 2 if side == 1 else at_low), 1
        else:
            low, at_low = middle, found
            at_high, side = (at_high / 2 if side == -1 else at_high), -1
    return (low + high) / 2
