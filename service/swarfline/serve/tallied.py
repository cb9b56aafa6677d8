"""The sums of OEE over whole days, where those that are over are read as tallies and only the rest as facts."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence

from swarfline.calendar import Interval, intersect, merge, subtract
from swarfline.facts import Condition, Count
from swarfline.measure.elements import TimeElements, time_elements, window_of
from swarfline.measure.tallying import counts_of, elements_of
from swarfline.serve.assemble import Assembly
from swarfline.tallies import Tally
from swarfline.tallying import made_by, may_tally


class Tallied(Assembly):
    """An assembly of which only the span, its days and whole days of it are asked, and only the sums of OEE."""

    def tallies(self, machine: str) -> list[Tally]:
        """The tallied days of the span."""
        return self._once("tallies", machine, lambda: self._tallies(machine))

    def _tallies(self, machine: str) -> list[Tally]:
        if not may_tally(self.room.plant, machine):
            return []
        return self.room.queries.tallies(machine, *self.span, made_by(self.room.calendar, machine))

    def rest(self, machine: str) -> list[Interval]:
        """What of the span is not tallied; its facts are read."""
        days = [(t.start_us, t.end_us) for t in self.tallies(machine)]
        return self._once("rest", machine, lambda: subtract([self.span], merge(days)))

    def _cut(self, machine: str, span: Interval) -> tuple[list[Tally], list[Interval]]:
        """The tallied days of a part of the span, and what is left of it."""
        known = self.tallies(machine)
        first = bisect_left(known, span[0], key=lambda t: t.start_us)
        last = bisect_right(known, span[1], key=lambda t: t.end_us)
        return known[first : max(first, last)], intersect(self.rest(machine), window_of(span))

    def counts(self, machine: str) -> list[Count]:
        """Counts of what is not tallied."""
        return self._once(
            "n", machine, lambda: [c for piece in self.rest(machine) for c in self._counts(machine, piece)]
        )

    def counted(self, machine: str, span: Interval, part: str | None) -> list[Count]:
        """The counts in ``span``; those of tallied days together, at the beginning of the first."""
        days, _ = self._cut(machine, span)
        return [*(c for c in counts_of(days) if part in (None, c.part)), *super().counted(machine, span, part)]

    def elements(self, machine: str, spans: Sequence[Interval]) -> TimeElements:
        """Time elements of one machine over disjoint ``spans``."""
        return sum((self._elements(machine, span) for span in spans), TimeElements())

    def _elements(self, machine: str, span: Interval) -> TimeElements:
        return self._once(f"elements {span}", machine, lambda: self._added(machine, span))

    def _added(self, machine: str, span: Interval) -> TimeElements:
        days, rest = self._cut(machine, span)
        queries, calendar, found = self.room.queries, self.room.calendar, elements_of(days)
        for piece in rest:
            known = queries.facts(Condition, machine, *piece)
            found = found + time_elements(known, calendar.planned(machine, *piece), piece)
        return found
