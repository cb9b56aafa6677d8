"""Order by corrected source time inside a reorder window; what comes later than that is late.

House rules: what is released depends only on the sequence of readings, never on how it was sliced. The
watermark is the newest time seen minus the window; everything strictly before it is final. What the link says
is never late and stays in the order in which it came: a loss that got lost would end the machine's story. While
history is read back, what is already final or waits here already is a repetition, and not taken again.
"""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from operator import itemgetter
from typing import Any

from swarfline.interpret.settings import MachineSettings
from swarfline.signals import CLOCK_OFFSET, LINK, LINK_ALIVE, Reading, Value

# (effective time, arrival number, signal, value, quality, raw source time)
Ordered = tuple[int, int, str, object, int, int]

Heed = Callable[[Value], Value]
"""Takes what the link says when it arrives; gives what is to be put into the order, None for nothing."""

_BY_TIME = itemgetter(0, 1)
NEVER = -(2**62)


def _as_said(event: Value) -> Value:
    return event


class Order:
    """The reorder buffer of one machine."""

    __slots__ = (
        "_heed",
        "_settings",
        "arrivals",
        "floor_us",
        "known",
        "newest_us",
        "offset_us",
        "pending",
        "watermark_us",
    )

    def __init__(self, settings: MachineSettings, heed: Heed = _as_said) -> None:
        self._settings = settings
        self._heed = heed
        self.known: set[tuple[str, int]] | None = None
        self.offset_us = 0
        self.arrivals = 0
        self.floor_us = NEVER
        self.newest_us = NEVER
        self.watermark_us = NEVER
        self.pending: list[Ordered] = []

    def put(self, reading: Reading) -> bool:
        """Take one reading in; False when it is late (its time is already final) or a repetition."""
        _, signal, source_us, received_us, value, quality = reading
        if signal == CLOCK_OFFSET:
            self._correct_by(value)
            return True
        if signal == LINK:
            value = self._heed(value)
            if value is None:
                return True
            moment = self._linked(value, source_us)
        else:
            moment = self._effective(source_us, received_us)
            if moment < self.watermark_us:
                return False
            if self.known is not None and self._is_repetition(signal, source_us):
                return False
        self.pending.append((moment, self.arrivals, signal, value, quality, source_us))
        self.arrivals += 1
        if moment > self.newest_us:
            self.newest_us = moment
            self.watermark_us = moment - self._settings.reorder_us
        return True

    def _is_repetition(self, signal: str, source_us: int) -> bool:
        """Of a time that is final, or from before the last return, which told how everything stood; or here."""
        assert self.known is not None
        return source_us - self.offset_us < self.floor_us or (signal, source_us) in self.known

    def expect_repetitions(self) -> None:
        """What waits here may come again, until ``known`` is None."""
        self.known = {(signal, raw_us) for _, _, signal, _, _, raw_us in self.pending if signal != LINK}

    @property
    def observed_us(self) -> int:
        """How far the machine's time is final."""
        return min(self.watermark_us, self.newest_us)

    def _correct_by(self, offset: object) -> None:
        if isinstance(offset, int | float) and isfinite(offset):
            wide = abs(offset) > self._settings.clock_tolerance_us
            self.offset_us = int(offset) if wide and self._settings.max_skew_us is not None else 0

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
        moment = source_us - self.offset_us
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
        marks = [self.offset_us, self.arrivals, self.floor_us, self.newest_us, self.watermark_us]
        known = None if self.known is None else sorted(map(list, self.known))
        return [*marks, list(self.pending), known]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        self.offset_us, self.arrivals, self.floor_us, self.newest_us, self.watermark_us, pending, *more = state
        self.pending = [tuple(item) for item in pending]
        known = more[0] if more else None
        self.known = None if known is None else {(signal, us) for signal, us in known}
