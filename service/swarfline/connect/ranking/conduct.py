"""How a variable behaves while it is watched."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

from swarfline.connect.sighting import Course

FEW = 12
WHOLE_STEP = 1e-9
RESTART = 0.1


@dataclass(frozen=True, slots=True)
class Conduct:
    """What a course shows. ``changes`` is how often it changed; numbers only where all values were numbers."""

    changes: int
    kinds: int
    """How many different values."""
    falls: int
    """How often it fell."""
    restarts: int
    """How often it fell to less than a tenth, as a counter that is reset or rolls over."""
    is_whole: bool
    least: float | None
    most: float | None

    @property
    def is_number(self) -> bool:
        """Whether every value was a finite number."""
        return self.least is not None

    @property
    def counts(self) -> bool:
        """It rose, in whole steps, and never fell but perhaps once, to begin anew."""
        rises = self.falls == self.restarts <= 1 and self.falls < self.changes
        return self.is_number and self.is_whole and self.changes > 0 and rises

    @property
    def wanders(self) -> bool:
        """A measured quantity: it goes up and down through many values."""
        return self.is_number and self.falls >= 2 and self.kinds > FEW


def conduct_of(course: Course | None) -> Conduct | None:
    """None without anything watched."""
    if course is None or not course.samples:
        return None
    values = [value for _, value in course.samples]
    pairs = list(pairwise(values))
    changes = sum(a != b for a, b in pairs)
    kinds = len({repr(value) for value in values})
    numbers = [float(v) for v in values if isinstance(v, int | float) and not isinstance(v, bool) and isfinite(v)]
    if len(numbers) != len(values):
        return Conduct(changes, kinds, 0, 0, False, None, None)
    falls = [(a, b) for a, b in pairwise(numbers) if b < a]
    restarts = sum(b < a * RESTART for a, b in falls)
    whole = all(abs(number - round(number)) < WHOLE_STEP for number in numbers)
    return Conduct(changes, kinds, len(falls), restarts, whole, min(numbers), max(numbers))
