"""Run rules: patterns in a control chart that chance alone seldom makes.

The eight rules of Nelson, "The Shewhart control chart: tests for special causes", Journal of Quality Technology
16 (1984) 237–239. Beyond is strict, a value on the centre line breaks a run, and equal neighbours break a trend.
They suppose independent values. Cycle times are not quite that (tools wear), so a signal is told, never raised.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

from swarfline.measure.definition import Definition

NELSON = "Nelson 1984"

RULES: dict[int, str] = {
    1: "one point beyond three standard deviations",
    2: "nine points in a row on one side of the centre line",
    3: "six points in a row, all rising or all falling",
    4: "fourteen points in a row, up and down in turn",
    5: "two of three points in a row beyond two standard deviations on one side",
    6: "four of five points in a row beyond one standard deviation on one side",
    7: "fifteen points in a row within one standard deviation",
    8: "eight points in a row with none within one standard deviation, on both sides",
}
"""What each rule says, by its number."""


class Signal(NamedTuple):
    """A rule that speaks at a place (from 0): the point that completes its pattern, or makes it longer."""

    rule: int
    place: int


def run_signals(values: Sequence[float], centre: float, sigma: float) -> tuple[Signal, ...]:
    """Every signal of values in time order, by place and rule; none where ``sigma`` is 0.

    Rules 5 and 6 speak only at a point that is itself beyond, so that a pattern is not told again by its window
    moving on. O(n).
    """
    if sigma <= 0:
        return ()
    zones = [_zone(v, centre, sigma) for v in values]
    ways = [0, *(_sign(b - a) for a, b in pairwise(values))]
    found = [
        *(Signal(1, i) for i, z in enumerate(zones) if abs(z) > 3),
        *(Signal(2, i) for i in _runs(zones, 9, _sign)),
        *(Signal(3, i) for i in _runs(ways, 5, _sign)),
        *(Signal(4, i) for i in _runs(_turns(ways), 12, _sign)),
        *(Signal(5, i) for i in _windows(zones, 3, 2, 2)),
        *(Signal(6, i) for i in _windows(zones, 5, 4, 1)),
        *(Signal(7, i) for i in _runs(zones, 15, lambda z: int(abs(z) <= 1))),
        *(Signal(8, i) for i in _runs(zones, 8, lambda z: int(abs(z) > 1)) if _both_sides(zones[i - 7 : i + 1])),
    ]
    return tuple(sorted(found, key=lambda s: (s.place, s.rule)))


def _zone(value: float, centre: float, sigma: float) -> int:
    """Side and distance: ±1 within one sigma, ±2 within two, ±3 within three, ±4 beyond; 0 on the centre."""
    side = 1 if value > centre else -1 if value < centre else 0
    if not side:
        return 0
    for k in (3, 2, 1):
        if value > centre + k * sigma or value < centre - k * sigma:
            return side * (k + 1)
    return side


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)


def _runs(values: Sequence[float], need: int, kind: Callable[[float], int]) -> list[int]:
    """Places at which the latest ``need`` values are of one kind; kind 0 belongs to no run."""
    found, length, before = [], 0, 0
    for place, value in enumerate(values):
        now = kind(value)
        length = (length + 1 if now == before else 1) if now else 0
        before = now
        if length >= need:
            found.append(place)
    return found


def _turns(ways: Sequence[int]) -> list[int]:
    """1 where the way changed from up to down or from down to up at once."""
    return [0, *(int(a * b == -1) for a, b in pairwise(ways))]


def _windows(zones: Sequence[int], size: int, need: int, k: int) -> list[int]:
    """Places beyond ``k`` sigma at which ``need`` of the latest ``size`` are, on the same side."""
    found = []
    for place, zone in enumerate(zones):
        if abs(zone) > k:
            latest = zones[max(0, place - size + 1) : place + 1]
            if sum(z * _sign(zone) > k for z in latest) >= need:
                found.append(place)
    return found


def _both_sides(zones: Sequence[int]) -> bool:
    return min(zones) < 0 < max(zones)


FIGURES = (
    Definition(
        "cycle_time_signals", "rules 1 to 8 on the chart of single cycles", "1", "runs in the chart", NELSON
    ),
)
