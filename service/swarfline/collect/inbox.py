"""The bounded queue between the connections and the pipeline."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from swarfline.signals import Reading

LIMIT = 200_000
"""Readings that may wait, some 40 MB; ten seconds of the largest plant in the design's budget."""


class Inbox:
    """Collects batches from every connection. What does not fit is refused, and the connection tells a gap.

    To be used within one event loop.
    """

    def __init__(self, limit: int = LIMIT) -> None:
        self._limit = limit
        self._waiting: list[Reading] = []
        self._filled = asyncio.Event()

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, readings: list[Reading]) -> bool:
        """Take a batch whole; False when there is no room for it, and nothing of it was taken then.

        A batch larger than the limit is taken by an empty queue: it would never fit otherwise.
        """
        if self._waiting and len(self._waiting) + len(readings) > self._limit:
            return False
        self._waiting += readings
        self._filled.set()
        return True

    async def wait(self, timeout_s: float) -> None:
        """Until something waits, or for so long."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._filled.wait(), timeout_s)

    def take(self) -> list[Reading]:
        """Everything that waits, in order of arrival."""
        taken, self._waiting = self._waiting, []
        self._filled.clear()
        return taken
