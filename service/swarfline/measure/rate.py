"""Pace of cycles: how many a machine completes in the time that is planned and observed, and when that leads to.

Waits, faults and setups of the recent past are in the pace, so what follows from it is calendar time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, fsum, hypot
from statistics import median_low

from swarfline.calendar import Interval, total
from swarfline.facts import COMPLETE, Cycle
from swarfline.measure.interval import SHARE, Spread, spread_of

HOUR_US = 3_600_000_000
RECENT_US = 80 * HOUR_US
"""Planned and observed time that a pace is first looked for in: about two weeks of one shift. Long stops are rare,
and a pace from a day on which none happened, or one did, leads astray."""

UNSEEN = 0.5
"""How often the longest time counts once more (own choice; tried on simulated machines): longer ones may come."""

LEAST_CYCLES = 5
"""A pace needs so many complete cycles; the time looked at doubles until it holds them."""

CHUNK_US = 7 * 24 * HOUR_US
HORIZON_US = 60 * 24 * HOUR_US
"""How far ahead a time is told."""

WITHIN_A_CYCLE = 1 - (1 - SHARE) ** 0.5
"""Cycles, to either side, by which the place within the running cycle makes a moment uncertain: the middle 80 %
of the difference of two places that are anywhere."""

PlannedBetween = Callable[[int, int], Sequence[Interval]]
"""Planned production times of one machine inside [from, to), sorted and disjoint."""


@dataclass(frozen=True, slots=True)
class CyclePace:
    """How fast cycles follow one another in worked time.

    ``per_us``: complete cycles per µs; ``times``: spread of the time in µs from the end of one cycle to the end of
    the next, None where too few ended to tell.
    """

    per_us: Fraction
    times: Spread | None

    def work_us(self, cycles: int) -> int:
        """Worked time that so many cycles take."""
        return ceil(cycles / self.per_us)

    def work_bounds_us(self, cycles: int, fewest: int, most: int | None) -> tuple[int | None, int | None]:
        """Least and most worked time for a number of cycles that is itself known from ``fewest`` to ``most``.

        Margins of independent sources add as squares (Zou & Donner 2008, from memory). Where the running cycle
        stands is one of them: it may be used up nearly, or not yet be counted by what is asked about.
        """
        if self.times is None:
            return None, None
        each = float(1 / self.per_us)
        below, above = self.times.margins(cycles)
        place = WITHIN_A_CYCLE * each
        low = self.work_us(cycles) - hypot((cycles - fewest) * each, below, place)
        if most is None:
            return max(0, floor(low)), None
        return max(0, floor(low)), ceil(self.work_us(cycles) + hypot((most - cycles) * each, above, place))


def cycle_pace(
    cycles: Iterable[Cycle],
    worked: Sequence[Interval],
    recent_us: int = RECENT_US,
    least: int = LEAST_CYCLES,
    alike: Sequence[Cycle] = (),
) -> CyclePace | None:
    """Pace over the latest ``recent_us`` of ``worked`` time (planned and observed, up to now).

    Longer ago where that holds fewer than ``least``; None where all of it does. Cycles count where they end.
    ``alike`` are the latest cycles of what is made now: the share of the time that was spent in cycles stays, and
    their usual length takes the place of that of the cycles in this time.
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
            per_us = Fraction(len(inside), min(recent_us, whole)) * _stretch(inside, alike)
            before = ended[-len(inside) - 1 : -len(inside)]
            return CyclePace(per_us, _times([*before, *inside], worked, float(1 / per_us)))
        recent_us *= 2


def _times(inside: Sequence[Cycle], worked: Sequence[Interval], mean_us: float) -> Spread | None:
    """Spread of the worked time from end to end, brought to a mean that may be longer or shorter."""
    ends = _worked_at([c.end_us for c in inside], worked)
    between = [float(later - earlier) for earlier, later in pairwise(ends)]
    since_last = float(total(worked) - ends[-1])
    if since_last > mean_us:
        between.append(since_last)
    if not any(between):
        return None
    scale = mean_us * len(between) / fsum(between)
    return spread_of([scale * us for us in between], mean_us, unseen=UNSEEN)


def _worked_at(moments: Sequence[int], worked: Sequence[Interval]) -> list[int]:
    """Worked time up to each of these moments, which are in order and lie in worked time."""
    found, before, at = [], 0, 0
    for moment in moments:
        while worked[at][1] < moment:
            before += worked[at][1] - worked[at][0]
            at += 1
        found.append(before + moment - worked[at][0])
    return found


def _stretch(inside: Sequence[Cycle], alike: Sequence[Cycle]) -> Fraction:
    """Usual length of the cycles that the pace is from ÷ that of those to come; 1 where these are not known."""
    if not alike:
        return Fraction(1)
    then, now = _usual_us(inside), _usual_us(alike)
    before = Fraction(sum(then[c.program, c.part] for c in inside), len(inside))
    return before / Fraction(sum(now[c.program, c.part] for c in alike), len(alike))


def _usual_us(cycles: Iterable[Cycle]) -> dict[tuple[str, str], int]:
    """Median length by program and part."""
    lengths: dict[tuple[str, str], list[int]] = {}
    for cycle in cycles:
        lengths.setdefault((cycle.program, cycle.part), []).append(cycle.duration_us)
    return {made: median_low(found) for made, found in lengths.items()}


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


def after_work(work_us: int | None, planned_between: PlannedBetween, now_us: int) -> int | None:
    """When so much time will have been worked through the planned times from now on; µs UTC.

    None when it is not known how much, or when it lies beyond the horizon.
    """
    if work_us is None:
        return None
    left = work_us
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
