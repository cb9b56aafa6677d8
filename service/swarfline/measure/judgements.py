"""Judgements entered later: which of the parts counted in their span they change.

A judgement names a number of parts and a span, not the parts themselves. It is spread evenly over the parts made
there, in whole parts, so that every cut of the span adds up to the same whole.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from swarfline.entries import GOOD_AFTER_ALL, REWORKED, SCRAPPED, Entry, Judgement, standing
from swarfline.facts import Count
from swarfline.measure.production import Correction, Quantities, counted

Slot = tuple[int, str, bool]
"""(moment, part, across a gap): counts that share these are one."""


@dataclass(frozen=True, slots=True)
class Applied:
    """What became of one entry: how many of its parts there were, and its part and span before and after it."""

    entry: Entry
    quantity: int
    before: Quantities
    after: Quantities


def judged(counts: Iterable[Count], entries: Iterable[Entry]) -> tuple[list[Correction], list[Applied]]:
    """The corrections that the entries of one machine bring, and what became of each entry, in the order entered.

    ``counts`` are all of the spans of ``entries``. An entry changes what earlier ones left, and never more parts
    than there are. Undone entries are left out.
    """
    told: dict[Slot, Quantities] = {}
    for count in counts:
        slot = (count.time_us, count.part, count.across_gap)
        told[slot] = told.get(slot, Quantities()) + counted(count)
    order, now = sorted(told), dict(told)
    applied = [_apply(now, order, e, e.said) for e in standing(entries) if isinstance(e.said, Judgement)]
    changes = [(slot, now[slot] - told[slot]) for slot in order]
    return [Correction(at, part, change) for (at, part, _), change in changes if change != Quantities()], applied


def free(made: Quantities, kind: str) -> int:
    """How many parts can still be judged so: scrap from the good ones, good from scrap, rework from all others."""
    if kind == SCRAPPED:
        return max(0, made.good)
    return max(0, made.scrap if kind == GOOD_AFTER_ALL else made.total - made.rework)


def since(counts: Iterable[Count], corrections: Iterable[Correction], judgement: Judgement) -> int | None:
    """The latest moment, µs, from which on there are as many such parts as the judgement names; None: too few.

    ``counts`` and ``corrections`` up to the moment of the judgement.
    """
    steps = [(c.time_us, counted(c)) for c in counts if c.part == judgement.part]
    steps += [(c.time_us, c.change) for c in corrections if c.part == judgement.part]
    sums = Quantities()
    by_time = sorted(steps, key=lambda step: -step[0])
    for place, (at_us, step) in enumerate(by_time):
        sums = sums + step
        whole = place + 1 == len(by_time) or by_time[place + 1][0] < at_us
        if whole and free(sums, judgement.judged) >= judgement.quantity:
            return at_us
    return None


def _apply(now: dict[Slot, Quantities], order: Sequence[Slot], entry: Entry, said: Judgement) -> Applied:
    inside = order[bisect_left(order, (entry.start_us,)) : bisect_left(order, (entry.end_us,))]
    slots = [slot for slot in inside if slot[1] == said.part]
    before = sum((now[slot] for slot in slots), Quantities())
    quantity = min(said.quantity, free(before, said.judged))
    if said.judged == SCRAPPED:
        # the unjudged parts go first; only then one that was judged good turns out not to be
        _spread(now, slots, max(0, quantity - max(0, before.unjudged)), lambda q: q.judged_good, _NOT_GOOD)
    _spread(now, slots, quantity, lambda q: free(q, said.judged), _CHANGES[said.judged])
    return Applied(entry, quantity, before, sum((now[slot] for slot in slots), Quantities()))


_NOT_GOOD = Quantities(judged_good=-1)
_CHANGES = {
    SCRAPPED: Quantities(scrap=1),
    GOOD_AFTER_ALL: Quantities(scrap=-1, judged_good=1),
    REWORKED: Quantities(rework=1),
}
"""What one part so judged changes."""


def _spread(
    now: dict[Slot, Quantities],
    slots: Sequence[Slot],
    quantity: int,
    share: Callable[[Quantities], int],
    change: Quantities,
) -> None:
    """Change ``quantity`` parts evenly over the slots by their ``share`` of such parts, none beyond its share."""
    shares = [max(0, share(now[slot])) for slot in slots]
    whole, passed, done = sum(shares), 0, 0
    for slot, here in zip(slots, shares, strict=True):
        passed += here
        # rounded, so that a single part lies in the middle
        due = (2 * quantity * passed + whole) // (2 * whole) if whole else 0
        now[slot] += _times(change, due - done, slot[2])
        done = due


def _times(change: Quantities, number: int, across_gap: bool) -> Quantities:
    good, scrap = change.judged_good * number, change.scrap * number
    return Quantities(0, good, scrap, 0, scrap if across_gap else 0, change.rework * number)
