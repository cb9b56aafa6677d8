"""Pace of cycles: how many a machine completes in the time that is planned and observed, and when that leads to.

Waits, faults and setups of the recent past are in the pace, so what follows from it is calendar time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from math import ceil

from swarfline.calendar import Interval, total
from swarfline.facts import COMPLETE, Cycle

HOUR_US = 3_600_000_000
RECENT_US = 8 * HOUR_US
"""Planned and observed time that a pace is first looked for in."""

LEAST_CYCLES = 5
"""A pace needs so many complete cycles; the time looked at doubles until it holds them."""

CHUNK_US = 7 * 24 * HOUR_US
HORIZON_US = 60 * 24 * HOUR_US
"""How far ahead a time is told."""

PlannedBetween = Callable[[int, int], Sequence[Interval]]
"""Planned production times of one machine inside [from, to), sorted and disjoint."""


def cycle_pace(
    cycles: Iterable[Cycle],
    worked: Sequence[Interval],
    recent_us: int = RECENT_US,
    least: int = LEAST_CYCLES,
    alike: Sequence[Cycle] = (),
) -> Fraction | None:
    """Complete cycles per µs of the latest ``recent_us`` of ``worked`` time (planned and observed, up to now).

    Longer ago where that holds fewer than ``least``; None where all of it does. Cycles count where they end.
    Where the part has just changed, ``alike`` are cycles of what is made now: then the share of the time that
    was spent in cycles stays, and their mean length takes the place of the recent one.
    """
    starts = [start for start, _ in worked]
    complete = (c for c in cycles if c.outcome == COMPLETE and not c.open)
    ended = sorted((c for c in complete if _within(c.end_us, worked, starts)), key=lambda c: c.end_us)
    if len(ended) < max(1, least):
        return None
    whole = total(worked)
    while True:
        since = _since(worked, recent_us)
        inside = [c for c in ended if c.end_us > since]
        if len(inside) >= least or recent_us >= whole:
            return Fraction(len(inside), min(recent_us, whole)) * _stretch(inside, alike)
        recent_us *= 2


def _stretch(inside: Sequence[Cycle], alike: Sequence[Cycle]) -> Fraction:
    """Mean length of the cycles that the pace is from ÷ that of those to come; 1 where they are the same."""
    made = {(c.program, c.part) for c in alike}
    theirs = sum(c.duration_us for c in alike)
    if not theirs or all((c.program, c.part) in made for c in inside):
        return Fraction(1)
    return Fraction(sum(c.duration_us for c in inside) * len(alike), len(inside) * theirs)


def _within(at_us: int, worked: Sequence[Interval], starts: Sequence[int]) -> bool:
    """Whether a moment lies in (start, end] of an interval: a cycle that ends with the shift is of the shift."""
    place = bisect_right(starts, at_us - 1) - 1
    return place >= 0 and at_us <= worked[place][1]


def _since(worked: Sequence[Interval], length_us: int) -> int:
    """The moment from which on ``worked`` holds the last ``length_us``, or its beginning."""
    left = length_us
    for start, end in reversed(worked):
        if end - start >= left:
            return end - left
        left -= end - start
    return worked[0][0]


def reach_time(
    cycles_left: int | None, pace: Fraction | None, planned_between: PlannedBetween, now_us: int
) -> int | None:
    """When so many more cycles will be complete, at that pace through the planned times from now on; µs UTC.

    None when cycles or pace are not known, or when it lies beyond the horizon.
    """
    if cycles_left is None or not pace:
        return None
    left = ceil(cycles_left / pace)
    if left <= 0:
        return now_us
    at = now_us
    while at < now_us + HORIZON_US:
        for start, end in planned_between(at, at + CHUNK_US):
            if end - start >= left:
                return start + left
            left -= end - start
        at += CHUNK_US
    return None
