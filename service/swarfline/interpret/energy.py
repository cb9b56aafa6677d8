"""Electrical energy by condition and by cycle: the counter where offered, else power integrated.

Power is held from one reading to the next (exact for a source that reports on change), never across a gap.
A counter's step is spread evenly over the time since its last reading. Pieces end where the condition changes
and at every UTC quarter hour, so that demand and any span of quarter hours are sums of whole pieces; only
what a counter gained unobserved is one piece per unobserved stretch, since nobody knows when.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from swarfline.facts import UNOBSERVED, Energy
from swarfline.interpret.counts import Counter
from swarfline.interpret.cycles import Cycles
from swarfline.interpret.numbers import MOST, MOST_SHOWN, number_of

QUARTER_US = 900_000_000
MARKS = 1000
"""Turns kept while the counter stays silent; of older ones only the time is kept, as unobserved."""
_JOULES_PER_WH = 3600.0

Mark = tuple[int, str, int | None]
"""(from here on, condition, start of the cycle that is open)"""


class EnergyMeter:
    """The energy of one machine. ``marks`` are the turns since the counter was last read."""

    __slots__ = (
        "_at_us",
        "_condition",
        "_counter",
        "_joules",
        "_machine",
        "_marks",
        "_power",
        "_start_us",
        "by_counter",
    )

    def __init__(self, machine: str, by_counter: bool, width: int) -> None:
        self._machine = machine
        self.by_counter = by_counter
        self._counter = Counter(width)
        self._power: float | None = None
        self._condition: str | None = None
        self._at_us = 0
        self._start_us = 0
        self._joules: float | None = None
        self._marks: list[Mark] = []

    # -- power, held ---------------------------------------------------------------------------------------

    def advance(self, at_us: int, cycles: Cycles) -> list[Energy]:
        """Book what power gave up to ``at_us``, on the condition and the cycle that were until then."""
        if self.by_counter:
            return []
        done: list[Energy] = []
        if self._power is not None and self._condition is not None:
            if cycles.open is not None:
                cycles.open.pay(self._at_us, at_us, self._power)
            done = self._pieces(at_us, self._power)
        self._at_us = at_us
        return done

    def power(self, at_us: int, watts: object, cycles: Cycles) -> list[Energy]:
        """A power reading; None when the power is not known from here on."""
        done = self.advance(at_us, cycles)
        known = number_of(watts)
        if known is not None and known < 0:
            known = None
        if (self._power is None) != (known is None):
            done += self._finish(at_us)
        self._power = None if known is None else float(known)
        return done

    # -- the counter, spread -------------------------------------------------------------------------------

    def counter(self, at_us: int, watt_hours: object, cycles: Cycles) -> list[Energy]:
        """A reading of the energy counter: what it added is spread over the turns since the last one."""
        number, marks = number_of(watt_hours, MOST_SHOWN), self._marks
        if number is None or number < 0 or not marks:
            return []
        baseline, first_us = self._counter.last is None, marks[0][0]
        if not baseline and at_us <= first_us:
            return []
        added = self._counter.take(number)
        self._marks = [(at_us, *marks[-1][1:])]
        done: list[Energy] = []
        if not baseline and added <= MOST:
            watts = added * _JOULES_PER_WH * 1e6 / (at_us - first_us)
            for (begin, condition, _), (end, _, _) in pairwise([*marks, (at_us, "", None)]):
                done += self._spread(begin, end, condition, watts, cycles)
        cycles.kept = []
        return done

    def _spread(self, begin: int, end: int, condition: str, watts: float, cycles: Cycles) -> list[Energy]:
        if end <= begin:
            return []
        cycle = cycles.spanning(begin, end)
        if cycle is not None:
            cycle.pay(begin, end, watts)
            cycles.touch(cycle)
        done: list[Energy] = []
        if condition != self._condition or self._at_us != begin:
            done = self._finish(self._at_us)
        self._condition, self._at_us = condition, begin
        if condition == UNOBSERVED:
            self._start_us, self._joules, self._at_us = begin, watts * (end - begin) * 1e-6, end
            return done + self._finish(end)
        return done + self._pieces(end, watts)

    def _mark(self, at_us: int, condition: str, cycles: Cycles) -> None:
        cycle_us = None if cycles.open is None else cycles.open.start_us
        if not self._marks or self._marks[-1][1:] != (condition, cycle_us):
            self._marks.append((at_us, condition, cycle_us))
        if len(self._marks) > MARKS:
            self._marks[: MARKS // 2] = [(self._marks[0][0], UNOBSERVED, None)]

    # -- both ----------------------------------------------------------------------------------------------

    def turn(self, at_us: int, condition: str, cycles: Cycles) -> list[Energy]:
        """From ``at_us`` on, up to which power is booked, under ``condition`` and perhaps another cycle."""
        if self.by_counter:
            self._mark(at_us, condition, cycles)
            return []
        done = self._finish(at_us) if condition != self._condition else []
        self._condition = condition
        return done

    def lose(self, at_us: int, cycles: Cycles) -> list[Energy]:
        """The connection is lost: power is not known from here on; a counter goes on counting unseen."""
        done = [] if self.by_counter else self.power(at_us, None, cycles)
        return done + self.turn(at_us, UNOBSERVED, cycles)

    def _pieces(self, at_us: int, watts: float) -> list[Energy]:
        done: list[Energy] = []
        while self._at_us < at_us:
            if self._joules is None:
                self._start_us, self._joules = self._at_us, 0.0
            end = min(at_us, (self._at_us // QUARTER_US + 1) * QUARTER_US)
            self._joules += watts * (end - self._at_us) * 1e-6
            self._at_us = end
            if end % QUARTER_US == 0:
                done += self._finish(end)
        return done

    def _finish(self, at_us: int) -> list[Energy]:
        joules, self._joules = self._joules, None
        return [] if joules is None else [self._piece(self._start_us, at_us, joules)]

    def current(self, until_us: int) -> list[Energy]:
        """The piece being written and, where power is held longer, those that follow it, as far as observed."""
        if self.by_counter or self._power is None or self._condition is None:
            return [] if self._joules is None else [self._piece(self._start_us, self._at_us, self._joules, True)]
        start, joules = (self._at_us, 0.0) if self._joules is None else (self._start_us, self._joules)
        booked, until_us = self._at_us, max(until_us, self._at_us)
        found: list[Energy] = []
        while start < until_us:
            end = min(until_us, (booked // QUARTER_US + 1) * QUARTER_US)
            joules += self._power * (end - booked) * 1e-6
            found.append(self._piece(start, end, joules, still=True))
            start = booked = end
            joules = 0.0
        return found

    def _piece(self, start: int, end: int, joules: float, still: bool = False) -> Energy:
        basis = "counter" if self.by_counter else "power"
        return Energy(self._machine, start, end, self._condition or UNOBSERVED, joules, basis, open=still)

    def save(self) -> list[object]:
        """State as plain data."""
        booked = [self._condition, self._at_us, self._start_us, self._joules]
        return [self._counter.last, self._power, *booked, list(self._marks)]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        self._counter.last, self._power, *booked, marks = state
        self._condition, self._at_us, self._start_us, self._joules = booked
        self._marks = [(at_us, condition, cycle_us) for at_us, condition, cycle_us in marks]
