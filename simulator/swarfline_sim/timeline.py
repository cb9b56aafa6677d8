"""Plant time and real time: plant = start + (real - epoch) * speed."""

from __future__ import annotations

from typing import NamedTuple


class Timeline(NamedTuple):
    """``start_us`` is the plant time at the real time ``epoch_us``; ``speed`` in plant seconds per second."""

    start_us: int
    epoch_us: int
    speed: float

    def plant_us(self, real_us: int) -> int:
        """Plant time at a real time, never before the start."""
        return self.start_us + max(0, round((real_us - self.epoch_us) * self.speed))
