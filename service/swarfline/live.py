"""Bounded fan-out of what was just committed, from the collector to the streams of the same process.

A reader that is too slow loses its oldest events and is told how many; it never holds up the publisher.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import NamedTuple

DEPTH = 64
"""Events that a reader may lag behind before it loses the oldest."""


class Event(NamedTuple):
    """One event; ``missed`` counts the events that this reader lost just before it."""

    name: str
    data: Mapping[str, object]
    missed: int = 0


class Subscription:
    """One reader's own, bounded queue."""

    def __init__(self, depth: int) -> None:
        self._waiting: deque[Event] = deque()
        self._depth = depth
        self._missed = 0
        self._filled = asyncio.Event()

    def put(self, name: str, data: Mapping[str, object]) -> None:
        """Add an event; the oldest makes room when the queue is full."""
        if len(self._waiting) >= self._depth:
            self._missed += 1 + self._waiting.popleft().missed
        self._waiting.append(Event(name, data))
        self._filled.set()

    async def get(self) -> Event:
        """The oldest event still there, as soon as there is one."""
        while not self._waiting:
            self._filled.clear()
            await self._filled.wait()
        missed, self._missed = self._missed, 0
        return self._waiting.popleft()._replace(missed=missed)

    def drain(self) -> int:
        """Forget everything waiting; how many events that were, lost ones included."""
        count = len(self._waiting) + self._missed
        self._waiting.clear()
        self._missed = 0
        return count


class Live:
    """Publishes events to whoever listens. To be used within one event loop."""

    def __init__(self, depth: int = DEPTH) -> None:
        if depth < 1:
            raise ValueError(f"a queue of {depth} events holds nothing")
        self._depth = depth
        self._readers: set[Subscription] = set()

    @property
    def readers(self) -> int:
        """How many listen now."""
        return len(self._readers)

    def publish(self, event: str, data: Mapping[str, object]) -> None:
        """Tell every reader; returns at once. To be called from the event loop's thread."""
        for reader in self._readers:
            reader.put(event, data)

    @asynccontextmanager
    async def subscribe(self) -> AsyncIterator[Subscription]:
        """A queue of the events from now on, for as long as the context lasts."""
        reader = Subscription(self._depth)
        self._readers.add(reader)
        try:
            yield reader
        finally:
            self._readers.discard(reader)
