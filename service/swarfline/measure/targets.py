"""Targets of people: how many parts are due in a span by what was told for it, for some of it, or for more.

A target is spread over the planned time of its span, so half of a shift has half of its target; over all of the
span where none of it is planned. Of two targets of the same part the one entered last holds for the time that both
are about, and so it does where either names no part; targets of different parts add up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from swarfline.calendar import Interval, intersect, merge, subtract, total
from swarfline.entries import Entry, Target


@dataclass(frozen=True, slots=True)
class _Aim:
    """One target: how many parts per µs of the times in which it holds."""

    per_us: Fraction
    times: list[Interval]


class Aims:
    """The targets of one machine; ``planned`` is its planned time (sorted, disjoint) over all of their spans."""

    def __init__(self, told: Sequence[Entry], planned: Sequence[Interval]) -> None:
        in_order = sorted(told, key=lambda e: e.number)
        self.covered: list[Interval] = merge((e.start_us, e.end_us) for e in in_order)
        """All time that some target is about."""
        self._aims = [_aim(e, in_order[place + 1 :], planned) for place, e in enumerate(in_order)]

    def due(self, span: Interval) -> Fraction:
        """Parts that are due in a span."""
        window = [span] if span[0] < span[1] else []
        return sum((a.per_us * total(intersect(a.times, window)) for a in self._aims), Fraction(0))

    def touch(self, span: Interval) -> bool:
        """Whether any target is about some of a span."""
        return any(start < span[1] and end > span[0] for start, end in self.covered)


NONE_TOLD = Aims((), ())


def _aim(entry: Entry, later: Sequence[Entry], planned: Sequence[Interval]) -> _Aim:
    said = entry.said
    assert isinstance(said, Target)
    whole = [(entry.start_us, entry.end_us)]
    spread = intersect(whole, planned) or whole
    taken = merge((e.start_us, e.end_us) for e in later if _replaces(e.said, said))
    return _Aim(Fraction(said.quantity, total(spread)), subtract(spread, taken))


def _replaces(later: object, said: Target) -> bool:
    return isinstance(later, Target) and (later.part == said.part or not later.part or not said.part)
