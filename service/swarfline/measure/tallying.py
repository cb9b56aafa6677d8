"""Tallies made from facts, and added up again: the sums are those of the facts themselves, to the last digit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from swarfline.calendar import Interval
from swarfline.facts import Condition, Count
from swarfline.measure.elements import TimeElements, time_elements
from swarfline.tallies import Tally


def tally(
    machine: str,
    span: Interval,
    made_by: str,
    conditions: Sequence[Condition],
    planned: Sequence[Interval],
    counts: Iterable[Count],
) -> Tally:
    """The sums of one machine over ``span``; the facts may exceed it."""
    elements = time_elements(conditions, planned, span)
    inside = (count for count in counts if span[0] <= count.time_us < span[1])
    return Tally(machine, *span, made_by, elements.inside_us, elements.outside_us, _added(inside))


def _added(counts: Iterable[Count]) -> list[tuple[str, str, bool, int]]:
    made: dict[tuple[str, str, bool], int] = {}
    for count in counts:
        key = (count.part, count.count_kind, count.across_gap)
        made[key] = made.get(key, 0) + count.quantity
    return [(*key, quantity) for key, quantity in sorted(made.items())]


def elements_of(tallies: Sequence[Tally]) -> TimeElements:
    """Time elements of several days."""
    if not tallies:
        return TimeElements()
    inside = map(sum, zip(*(t.inside_us for t in tallies), strict=True))
    outside = map(sum, zip(*(t.outside_us for t in tallies), strict=True))
    return TimeElements(tuple(inside), tuple(outside))


def counts_of(tallies: Sequence[Tally]) -> list[Count]:
    """Counts of several days, one for each part and kind, at the beginning of the first of them."""
    made: dict[tuple[str, str, bool], int] = {}
    for day in tallies:
        for part, kind, across, quantity in day.counts:
            made[part, kind, across] = made.get((part, kind, across), 0) + quantity
    return [
        Count(tallies[0].machine, tallies[0].start_us, kind, quantity, part, across_gap=across)
        for (part, kind, across), quantity in made.items()
    ]
