"""The bounded queue between the connections and the pipeline."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress

from swarfline.signals import Reading

LIMIT = 200_000
"""Readings that may wait, some 40 MB; ten seconds of the largest plant in the design's budget."""

Put = Callable[[list[Reading]], bool]


class Inbox:
    """Collects batches from every connection. What does not fit is refused, and the connection tells a gap.

    Each connection has a lane. When the queue is full, a lane that has less in it than its share (the limit
    divided by the lanes) may still put: a flood takes room from itself, not from the others. All lanes together
    hold at most twice the limit, but for a first batch of each that is larger than its share.
    To be used within one event loop.
    """

    def __init__(self, limit: int = LIMIT) -> None:
        self._limit = limit
        self._waiting: list[Reading] = []
        self._held: list[int] = []
        self._filled = asyncio.Event()

    def __len__(self) -> int:
        return len(self._waiting)

    def lane(self) -> Put:
        """A way in for one connection.

        It takes a batch whole, or returns False when there is no room for it, and then nothing of it was taken.
        A batch larger than the limit is taken by a queue that holds nothing of this lane: it would never fit
        otherwise.
        """
        lane = len(self._held)
        self._held.append(0)

        def put(readings: list[Reading]) -> bool:
            return self._put(lane, readings)

        return put

    def _put(self, lane: int, readings: list[Reading]) -> bool:
        held, size = self._held[lane], len(readings)
        if len(self._waiting) + size > self._limit and held and held + size > self._limit // len(self._held):
            return False
        self._waiting += readings
        self._held[lane] += size
        self._filled.set()
        return True

    async def wait(self, timeout_s: float) -> None:
        """Until something waits, or for so long."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._filled.wait(), timeout_s)

    def take(self) -> list[Reading]:
        """Everything that waits, in order of arrival."""
        taken, self._waiting = self._waiting, []
        self._held = [0] * len(self._held)
        self._filled.clear()
        return taken
