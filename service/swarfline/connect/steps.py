"""A server's clock that is set while it is watched: what came by the old and by the new one is told apart.

The offset is measured every few seconds. Readings stamped meanwhile by a clock that was set back would be late,
and missing from what happened. So when the first come whose times are odd, or a measurement shows the step,
everything waits until the new offset is known and what was stamped before has arrived.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Awaitable, Callable, Sequence

from swarfline.connect.supervise import ClockOffset
from swarfline.signals import Reading

ODD_US = 2_000_000
"""A time that is further off than this, and than a publishing interval, is odd."""
TRIES = 4
TICK_S = 0.7
"""Servers refresh the time that they tell in ticks of up to two seconds: so many tries, so far apart, see it."""
PATIENCE_S = 60.0
"""No doubt for so long after times were odd for another reason: a slow network, a control that stamps late."""

Give = Callable[[list[Reading], int], None]
"""Takes readings and our time of their arrival."""


class Steps:
    """Between what is received and ``give``; ``tell`` hands over a new offset. ``run`` beside the watch.

    Until ``paced`` nothing is odd.
    """

    def __init__(
        self, offset: ClockOffset, probe: Callable[[], Awaitable[None]], give: Give, tell: Callable[[int], None]
    ) -> None:
        self._offset = offset
        self._probe = probe
        self._give = give
        self._tell = tell
        self._waiting: list[tuple[list[Reading], int]] = []
        self._doubt = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self._patient_until_s = 0.0
        self._limit_us = math.inf
        self._interval_s = 0.0
        self.is_holding = False
        """Whether readings wait, or would."""

    def paced(self, interval_s: float) -> None:
        """A change may wait so long at the server before it is sent."""
        self._limit_us, self._interval_s = ODD_US + interval_s * 1e6, interval_s

    def take(self, readings: list[Reading], now_us: int) -> None:
        """Hand over, or wait."""
        if not self.is_holding and self._is_odd(readings):
            self._hold()
        if self.is_holding:
            self._waiting.append((readings, now_us))
        else:
            self._give(readings, now_us)

    def measured(self) -> None:
        """The offset was measured: tell it if it moved, unless by a step."""
        if self._has_moved(self._offset.told_us):
            self._hold()
        elif not self.is_holding and (news := self._offset.news()) is not None:
            self._tell(news)

    def _hold(self) -> None:
        self.is_holding = True
        self._doubt.set()

    def _has_moved(self, told_us: int | None) -> bool:
        now_us = self._offset.offset_us
        return told_us is not None and now_us is not None and abs(now_us - told_us) > self._limit_us

    def _is_odd(self, readings: Sequence[Reading]) -> bool:
        told_us = self._offset.told_us
        if told_us is None or not readings or self._loop.time() < self._patient_until_s:
            return False
        # sorted by source time: if any is odd, the first or the last is
        ends = (readings[0], readings[-1])
        return any(abs(r.source_us - r.received_us - told_us) > self._limit_us for r in ends)

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            await self._doubt.wait()
            self._doubt.clear()
            before_us = self._offset.told_us
            if await self._sees_step(before_us):
                # what was stamped before the step may still be on its way
                await asyncio.sleep(self._interval_s)
            else:
                self._patient_until_s = self._loop.time() + PATIENCE_S
            self._settle(before_us)

    async def _sees_step(self, before_us: int | None) -> bool:
        for number in range(TRIES):
            await asyncio.sleep(TICK_S if number else 0.0)
            await self._probe()
            if self._has_moved(before_us):
                return True
        return False

    def _settle(self, before_us: int | None) -> None:
        news_us = self._offset.news()
        if news_us is None or before_us is None:
            self.let_go()
            return
        waiting, self._waiting, self.is_holding = self._waiting, [], False
        for readings, now_us in waiting:
            self._give([r for r in readings if _is_nearer(r, before_us, news_us)], now_us)
        self._tell(news_us)
        for readings, now_us in waiting:
            self._give([r for r in readings if not _is_nearer(r, before_us, news_us)], now_us)

    def let_go(self) -> None:
        """Hand over what waits as it is."""
        waiting, self._waiting, self.is_holding = self._waiting, [], False
        for readings, now_us in waiting:
            self._give(readings, now_us)


def _is_nearer(reading: Reading, before_us: int, news_us: int) -> bool:
    """Whether a reading was rather stamped by the clock as it was before."""
    off_us = reading.source_us - reading.received_us
    return abs(off_us - before_us) <= abs(off_us - news_us)
