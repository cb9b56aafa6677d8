"""Counters: how many between two readings, with roll-over and reset told apart; and the parts they tell of.

A counter of width w that steps down by more than half its range rolled over; any other step down is a reset,
and what it shows afterwards counts from zero (common practice, no source; arithmetic in tests/outside).

House rules. What a counter gained while it could not be read (connection lost, or quality Bad) is told as
counted across a gap. A step that no machine can make (more than MOST) was set by hand: nothing is counted, and the
counter goes on from there.
"""

from __future__ import annotations

from math import floor
from typing import Any

from swarfline.facts import GOOD, SCRAP, TOTAL, Count
from swarfline.interpret.numbers import MOST, MOST_SHOWN, number_of
from swarfline.interpret.settings import MachineSettings

_KINDS = {"part_count": TOTAL, "good_count": GOOD, "scrap_count": SCRAP}
_CYCLES = "cycle_count"


def step(previous: float, current: float, width: int) -> float:
    """What was counted between two readings of a counter of ``width`` bits."""
    if current >= previous:
        return current - previous
    modulus = 1 << width
    if previous < modulus and previous - current > modulus / 2:
        return current + modulus - previous
    return current


class Counter:
    """One counter of one machine; the first reading ever is a baseline, not production."""

    __slots__ = ("last", "width")

    def __init__(self, width: int) -> None:
        self.width = width
        self.last: float | None = None

    def take(self, value: object) -> float:
        """What this reading adds; 0 for a baseline or a value that is no count."""
        number = number_of(value, MOST_SHOWN)
        if number is None or number < 0:
            return 0
        previous, self.last = self.last, number
        return 0 if previous is None else step(previous, number, self.width)


class Counts:
    """The counters of one machine and what they gained in the instant that is being taken in."""

    __slots__ = ("_across", "_blind", "_found", "_gained", "_settings", "counters")

    def __init__(self, settings: MachineSettings) -> None:
        self._settings = settings
        self.counters = {
            name: Counter(settings.widths.get(name, 32)) for name in (*_KINDS, _CYCLES) if name in settings.signals
        }
        self._blind: set[str] = set()
        self._found: dict[str, tuple[int, bool]] = {}
        self._gained: dict[str, float] = {}
        self._across: set[str] = set()

    @property
    def by_cycle(self) -> bool:
        """True when no counter tells the parts made, so that finished cycles do."""
        return not {"part_count", "good_count", _CYCLES} & set(self.counters)

    def take(self, name: str, value: object, observed: bool, at_us: int) -> tuple[float, bool]:
        """A counter's reading: what it adds, and whether the counter was in sight since its last one.

        All readings of the instant in which a counter came into sight led up to it. When it is the first ever,
        the last of them is the baseline.
        """
        number = number_of(value, MOST_SHOWN)
        if number is None:
            self._blind.add(name)
            return 0, False
        counter = self.counters[name]
        if counter.last is None or name in self._blind:
            self._found[name] = (at_us, counter.last is None)
        found_us, for_the_first_time = self._found.get(name, (None, False))
        # a part in the making is none yet
        added, seen = counter.take(floor(number)), found_us != at_us
        if (for_the_first_time and not seen) or added > MOST:
            added = 0
        if observed:
            self._blind.discard(name)
        if added:
            self._gained[name] = self._gained.get(name, 0) + added
            if not seen:
                self._across.add(name)
        return added, seen

    def lose(self) -> None:
        """The counters are out of sight until they are read again."""
        self._blind.update(self.counters)

    def tell(self, at_us: int, part: str, lot: str) -> tuple[list[Count], int]:
        """The counts of one instant, and how many parts of them were made in sight."""
        told = self._by_kind(part)
        self._gained, self._across = {}, set()
        machine = self._settings.machine
        facts = [
            Count(machine, at_us, kind, quantity, part, lot, across)
            for kind, (quantity, across) in told.items()
            if quantity
        ]
        total, across = told.get(TOTAL, (0, False))
        return facts, 0 if across else total

    def _by_kind(self, part: str) -> dict[str, tuple[int, bool]]:
        told = {_KINDS[n]: (int(q), n in self._across) for n, q in self._gained.items() if n in _KINDS}
        if "part_count" in self.counters:
            return told
        if "good_count" in self.counters:
            judged = [told[kind] for kind in (GOOD, SCRAP) if kind in told]
            return {**told, TOTAL: (sum(q for q, _ in judged), any(across for _, across in judged))}
        if _CYCLES in self._gained:
            made = int(self._gained[_CYCLES]) * self.per_cycle(part)
            return {**told, TOTAL: (made, _CYCLES in self._across)}
        return told

    def per_cycle(self, part: str) -> int:
        """Parts that one cycle makes."""
        return self._settings.parts_per_cycle.get(part, 1)

    def of_cycle(self, end_us: int, part: str, lot: str) -> Count:
        """The parts of a finished cycle of a machine that does not count."""
        return Count(self._settings.machine, end_us, TOTAL, self.per_cycle(part), part, lot)

    def save(self) -> list[object]:
        """State between instants as plain data."""
        return [{name: counter.last for name, counter in self.counters.items()}, sorted(self._blind)]

    def load(self, state: list[Any]) -> None:
        """The reverse of save; counters that are new since then begin with a baseline."""
        lasts, blind = state
        for name in lasts.keys() & self.counters.keys():
            self.counters[name].last = lasts[name]
        self._blind = set(blind)
