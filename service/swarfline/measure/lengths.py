"""Summed lengths of intervals inside any span, without walking the intervals each time."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import accumulate

from swarfline.calendar import Interval


class Lengths:
    """Sorted disjoint intervals, µs; made once, then each span costs a search instead of a walk."""

    def __init__(self, intervals: Sequence[Interval]) -> None:
        self._starts = [start for start, _ in intervals]
        self._ends = [end for _, end in intervals]
        self._before = [0, *accumulate(end - start for start, end in intervals)]

    def within(self, span: Interval) -> int:
        """µs of them that lie in ``span`` = [start, end)."""
        return self._until(span[1]) - self._until(span[0]) if span[0] < span[1] else 0

    def within_all(self, spans: Iterable[Interval]) -> int:
        """µs of them that lie in disjoint ``spans``."""
        return sum(map(self.within, spans))

    def _until(self, moment_us: int) -> int:
        place = bisect_left(self._starts, moment_us)
        return self._before[place] - max(0, self._ends[place - 1] - moment_us) if place else 0
