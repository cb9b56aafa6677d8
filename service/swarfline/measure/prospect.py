"""Prospect of one machine: what it makes now, how fast, and when that leads to so many cycles or parts.

It is what tool forecasts, lots and plans of changes are told by alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import ceil, floor

from swarfline.calendar import Interval, total
from swarfline.facts import COMPLETE, Cycle
from swarfline.measure.rate import CyclePace, PlannedBetween, after_work, cycle_pace

RECENT_CYCLES = 50
"""Complete cycles that a consumption is taken from."""

MIX_CYCLES = 5
"""Programs met in so many latest cycles are what is being made, if they take turns."""


@dataclass(frozen=True, slots=True)
class Reach:
    """When something comes about: after how many cycles, and at what time (µs UTC).

    Low and high: the truth lies within them in 80 % of the cases. None: not known; a high alone that is None: the
    recent cycles do not tell how late it may be.
    """

    cycles: int | None = None
    cycles_low: int | None = None
    cycles_high: int | None = None
    at_us: int | None = None
    at_low_us: int | None = None
    at_high_us: int | None = None


@dataclass(frozen=True, slots=True)
class Prospect:
    """What is known of one machine at ``now_us``.

    ``recent`` are the latest complete cycles of what is made now, ``pace`` how fast they follow one another (None:
    not known), ``planned_between`` gives the planned times ahead.
    """

    recent: Sequence[Cycle]
    pace: CyclePace | None
    planned_between: PlannedBetween
    now_us: int

    @property
    def parts_per_cycle(self) -> Fraction | None:
        """Parts that a cycle makes, on the whole; None where none are told."""
        made = sum(c.parts for c in self.recent)
        return Fraction(made, len(self.recent)) if made else None

    def parts(self, cycles: int | None) -> int | None:
        """Whole parts that so many cycles make."""
        each = self.parts_per_cycle
        return None if cycles is None or each is None else floor(cycles * each)

    def cycles_for(self, parts: int) -> int | None:
        """Cycles after which so many parts are made."""
        each = self.parts_per_cycle
        return None if each is None else ceil(parts / each)

    def cycles_by(self, until_us: int) -> int | None:
        """Cycles that will have begun by a moment."""
        if self.pace is None or until_us <= self.now_us:
            return None if self.pace is None else 0
        return ceil(total(self.planned_between(self.now_us, until_us)) * self.pace.per_us)

    def at_us(self, cycles: int | None) -> int | None:
        """When so many more cycles will be complete; µs UTC."""
        if cycles is None or self.pace is None:
            return None
        return after_work(self.pace.work_us(cycles), self.planned_between, self.now_us)

    def reach(self, cycles: int | None, bounds: tuple[int | None, int | None]) -> Reach:
        """The clock times of a number of cycles that itself lies within bounds."""
        low, high = bounds
        if cycles is None or self.pace is None:
            return Reach(cycles, low, high)
        soonest, latest = (None, None) if low is None else self.pace.work_bounds_us(cycles, low, high)
        at_low, at_high = (after_work(work, self.planned_between, self.now_us) for work in (soonest, latest))
        return Reach(cycles, low, high, self.at_us(cycles), at_low, at_high)


def prospect(
    cycles: Iterable[Cycle],
    passed: Sequence[Cycle],
    worked: Sequence[Interval],
    planned_between: PlannedBetween,
    now_us: int,
) -> Prospect:
    """Prospect from the newest cycles, a running one among them.

    The pace is from ``passed``, which may reach further back and tell nothing of tools; where it is empty, from
    ``cycles`` too. ``worked`` is the machine's planned and observed time up to now, sorted and disjoint.
    """
    known = list(cycles)
    recent = recent_cycles(known)
    return Prospect(recent, cycle_pace(passed or known, worked, alike=recent), cache(planned_between), now_us)


def recent_cycles(cycles: Iterable[Cycle]) -> list[Cycle]:
    """The latest complete cycles of what is being made now, oldest first; a running one only says what that is."""
    known = sorted(cycles, key=lambda c: c.start_us)
    mix = _made_now(known)
    complete = [c for c in known if c.outcome == COMPLETE and not c.open and (c.program, c.part) in mix]
    return complete[-RECENT_CYCLES:]


def _made_now(known: Sequence[Cycle]) -> set[tuple[str, str]]:
    """Programs and parts of the latest cycles that take turns with the newest one; it alone after a change."""
    if not known:
        return set()
    made = [(c.program, c.part) for c in known]
    run = next((n for n, one in enumerate(reversed(made)) if one != made[-1]), len(made))
    before = made[: len(made) - run]
    return set(made[-MIX_CYCLES:]) if made[-1] in before[-MIX_CYCLES:] else {made[-1]}
