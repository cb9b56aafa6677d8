"""Electrical energy by condition and by cycle: the counter where offered, else power integrated.

Power is held from one reading to the next (exact for a source that reports on change), never across a gap.
A counter's step is spread evenly over the time since its last reading. Pieces end where the condition changes
and at every UTC quarter hour, so that demand and any span of quarter hours are sums of whole pieces.
"""

from __future__ import annotations

from swarfline.facts import UNOBSERVED, Energy
from swarfline.interpret.counts import Counter
from swarfline.interpret.cycles import Cycles

QUARTER_US = 900_000_000
_JOULES_PER_WH = 3600.0


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
        self._marks: list[list[object]] = []

    def turn(self, at_us: int, condition: str, cycles: Cycles) -> list[Energy]:
        """Book up to ``at_us`` on what was, then go on under ``condition``; finished pieces come back."""
        if self.by_counter:
            self._marks.append([at_us, condition, cycles.open.start_us if cycles.open else None])
            return []
        done = self._book(at_us, cycles)
        if condition != self._condition:
            done += self._finish(at_us)
            self._condition = condition
        return done

    def power(self, at_us: int, watts: object, cycles: Cycles) -> list[Energy]:
        """A power reading; None when the power is not known from here on."""
        done = self._book(at_us, cycles)
        known = isinstance(watts, int | float) and not isinstance(watts, bool) and watts >= 0
        if (self._power is None) != (not known):
            done += self._finish(at_us)
        self._power = float(watts) if known else None  # type: ignore[arg-type]
        return done

    def _book(self, at_us: int, cycles: Cycles) -> list[Energy]:
        done: list[Energy] = []
        if self._power is not None and self._condition is not None:
            if cycles.open is not None:
                spent = at_us - max(self._at_us, cycles.open.start_us)
                cycles.open.energy_j = (cycles.open.energy_j or 0.0) + self._power * spent * 1e-6
            done = self._pieces(at_us, self._power)
        self._at_us = max(self._at_us, at_us)
        return done

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
        if self._joules is None or at_us <= self._start_us or self._condition is None:
            self._joules = None
            return []
        piece = self._piece(self._start_us, at_us, self._joules)
        self._joules = None
        return [piece]

    def counter(self, at_us: int, watt_hours: object, cycles: Cycles) -> list[Energy]:
        """A reading of the energy counter: what it added is spread over the turns since the last one."""
        baseline = self._counter.last is None
        joules = self._counter.take(watt_hours) * _JOULES_PER_WH
        marks = self._marks
        if not marks:
            return []
        self._marks = [[at_us, marks[-1][1], marks[-1][2]]]
        first: int = marks[0][0]  # type: ignore[assignment]
        if baseline or at_us <= first:
            return []
        done: list[Energy] = []
        for (begin, condition, cycle_start), after in zip(marks, [*marks[1:], [at_us, "", None]], strict=True):
            end = min(at_us, after[0])  # type: ignore[type-var]
            done += self._spread(begin, end, condition, cycle_start, joules / (at_us - first), cycles)  # type: ignore[arg-type]
        return done

    def _spread(
        self, begin: int, end: int, condition: str, cycle_start: int | None, rate: float, cycles: Cycles
    ) -> list[Energy]:
        if end <= begin:
            return []
        for cycle in (cycles.open, cycles.last):
            if cycle is not None and cycle.start_us == cycle_start:
                cycle.energy_j = (cycle.energy_j or 0.0) + rate * (end - begin)
                cycles.touch(cycle)
        return self._book_counted(begin, end, condition, rate)

    def _book_counted(self, begin: int, end: int, condition: str, rate: float) -> list[Energy]:
        done: list[Energy] = []
        if condition != self._condition or (self._joules is not None and self._at_us != begin):
            done += self._finish(self._at_us)
        self._condition, self._at_us = condition, begin
        if condition == UNOBSERVED:
            self._start_us, self._joules = begin, rate * (end - begin)
            return done + self._finish(end)
        return done + self._pieces(end, rate * 1e6)

    def lose(self, at_us: int, cycles: Cycles) -> list[Energy]:
        """The connection is lost: power is not known from here on; a counter goes on counting unseen."""
        done = self.turn(at_us, UNOBSERVED, cycles)
        return done if self.by_counter else done + self.power(at_us, None, cycles)

    def current(self, until_us: int) -> list[Energy]:
        """The piece being written and, where power is held longer, those that follow it, as far as observed."""
        if self._condition is None or (self._power is None and self._joules is None):
            return []
        watts = 0.0 if self.by_counter or self._power is None else self._power
        until_us = self._at_us if self.by_counter else max(until_us, self._at_us)
        start, joules = (self._start_us, self._joules) if self._joules is not None else (self._at_us, 0.0)
        booked, found = self._at_us, []
        while start < until_us:
            end = min(until_us, (start // QUARTER_US + 1) * QUARTER_US)
            joules += watts * (end - booked) * 1e-6
            found.append(self._piece(start, end, joules, still=True))
            start = booked = end
            joules = 0.0
        return found

    def _piece(self, start: int, end: int, joules: float, still: bool = False) -> Energy:
        basis = "counter" if self.by_counter else "power"
        return Energy(self._machine, start, end, self._condition or UNOBSERVED, joules, basis, open=still)

    def save(self) -> list[object]:
        """State as plain data."""
        return [
            self._counter.last, self._power, self._condition, self._at_us, self._start_us, self._joules, self._marks,
        ]  # fmt: skip

    def load(self, state: list[object]) -> None:
        """The reverse of save."""
        (
            self._counter.last, self._power, self._condition, self._at_us, self._start_us, self._joules, self._marks,
        ) = state  # type: ignore[assignment]  # fmt: skip
