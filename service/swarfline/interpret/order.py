"""Order by corrected source time inside a reorder window; what comes later than that is late.

House rules: what is released depends only on the sequence of readings, never on how it was sliced. The
watermark is the newest time seen minus the window; everything strictly before it is final. What the link says
is never late and stays in the order in which it came: a loss that got lost would end the machine's story.
"""

from __future__ import annotations

from math import isfinite
from operator import itemgetter
from typing import Any

from swarfline.interpret.settings import MachineSettings
from swarfline.signals import CLOCK_OFFSET, LINK, LINK_ALIVE, Reading

# (effective time, arrival number, signal, value, quality, raw source time)
Ordered = tuple[int, int, str, object, int, int]

_BY_TIME = itemgetter(0, 1)
NEVER = -(2**62)


class Order:
    """The reorder buffer of one machine."""

    __slots__ = ("_offset_us", "_settings", "arrivals", "floor_us", "newest_us", "pending", "watermark_us")

    def __init__(self, settings: MachineSettings) -> None:
        self._settings = settings
        self._offset_us = 0
        self.arrivals = 0
        self.floor_us = NEVER
        self.newest_us = NEVER
        self.watermark_us = NEVER
        self.pending: list[Ordered] = []

    def put(self, reading: Reading) -> bool:
        """Take one reading in; False when it is late (its time is already final)."""
        _, signal, source_us, received_us, value, quality = reading
        if signal == CLOCK_OFFSET:
            self._correct_by(value)
            return True
        if signal == LINK:
            moment = self._linked(value, source_us)
        else:
            moment = self._effective(source_us, received_us)
            if moment < self.watermark_us:
                return False
        self.pending.append((moment, self.arrivals, signal, value, quality, source_us))
        self.arrivals += 1
        if moment > self.newest_us:
            self.newest_us = moment
            self.watermark_us = moment - self._settings.reorder_us
        return True

    @property
    def observed_us(self) -> int:
        """How far the machine's time is final."""
        return min(self.watermark_us, self.newest_us)

    def _correct_by(self, offset: object) -> None:
        if isinstance(offset, int | float) and isfinite(offset):
            wide = abs(offset) > self._settings.clock_tolerance_us
            self._offset_us = int(offset) if wide and self._settings.max_skew_us is not None else 0

    def _linked(self, event: object, source_us: int) -> int:
        """Link times are already in the ruling clock."""
        if event == LINK_ALIVE:
            return max(source_us, self.watermark_us)
        self.floor_us = max(source_us, self.watermark_us, self.floor_us)
        return self.floor_us

    def _effective(self, source_us: int, received_us: int) -> int:
        """A value's time, corrected, and clamped to the last return of the link: a value handed over when the
        connection came back may carry the time of its last change long before. One of a node that is found only
        when that return is final has not been watched until then: it counts from its receipt.
        """
        moment = source_us - self._offset_us
        skew = self._settings.max_skew_us
        if skew is not None and (moment - received_us > skew or moment < self.floor_us < self.watermark_us):
            moment = received_us
        return moment if moment > self.floor_us else self.floor_us

    def release(self) -> list[Ordered]:
        """Everything that is final now, in order."""
        return self._cut(self.watermark_us)

    def flush(self) -> list[Ordered]:
        """Everything, final or not: for the end of a span."""
        self.watermark_us = self.newest_us + 1
        return self._cut(self.watermark_us)

    def _cut(self, before_us: int) -> list[Ordered]:
        pending = self.pending
        if not pending:
            return []
        pending.sort(key=_BY_TIME)
        if pending[-1][0] < before_us:
            self.pending = []
            return pending
        cut = next(i for i, item in enumerate(pending) if item[0] >= before_us)
        self.pending = pending[cut:]
        return pending[:cut]

    def save(self) -> list[object]:
        """State as plain data."""
        marks = [self._offset_us, self.arrivals, self.floor_us, self.newest_us, self.watermark_us]
        return [*marks, list(self.pending)]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        self._offset_us, self.arrivals, self.floor_us, self.newest_us, self.watermark_us, pending = state
        self.pending = [tuple(item) for item in pending]
