"""Values by cyclic reading, where a server refuses subscriptions or the plant file asks for it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import Any

from asyncua import ua

from swarfline import clock
from swarfline.connect.items import Item
from swarfline.connect.reasons import plain, status_words
from swarfline.connect.services import Services
from swarfline.connect.source import Receive
from swarfline.connect.status import Tally
from swarfline.connect.supervise import silence_allowed_s
from swarfline.connect.tasks import stop
from swarfline.plant.model import Server

LEAST_PERIOD_S = 0.02
_REFUSALS = (0x8033, 0x8034, 0x8035, 0x803A, 0x801F)
"""BadNodeIdInvalid, BadNodeIdUnknown, BadAttributeIdInvalid, BadNotReadable, BadUserAccessDenied."""


class Poller:
    """Reads every item in turn and delivers what changed (value or status), like a subscription would."""

    def __init__(self, services: Services, server: Server, tally: Tally, receive: Receive) -> None:
        self._services = services
        self._tally = tally
        self._receive = receive
        self._timeout_s = server.timeout_s
        self._periods_s = {
            True: max(LEAST_PERIOD_S, server.sampling_ms / 1000),
            False: max(LEAST_PERIOD_S, server.sampling_analog_ms / 1000),
        }
        self._items: dict[int, Item] = {}
        self._last: dict[int, tuple[Any, int]] = {}
        self._task: asyncio.Task[None] | None = None
        self._loop = asyncio.get_running_loop()
        self.heard_s = self._loop.time()
        slowest_s = max(self._periods_s.values())
        self.deadline_s = silence_allowed_s(max(server.keepalive_s, slowest_s)) + server.timeout_s
        self.interval_s = slowest_s
        self.first_values_s = 2 * slowest_s + server.timeout_s

    async def start(self) -> None:
        """Begin the cycle."""
        self._tally.note_sampling(max(self._periods_s.values()) * 1000)
        self._task = asyncio.create_task(self._cycle())

    async def add(self, items: Sequence[Item]) -> dict[int, str]:
        """Read each item once; those the server cannot read at all are refused."""
        values = await self._services.read([item.node for item in items]) if items else []
        refused = {
            item.handle: status_words(value.StatusCode.value)
            for item, value in zip(items, values, strict=True)
            if value.StatusCode.value >> 16 in _REFUSALS
        }
        self._items.update({item.handle: item for item in items if item.handle not in refused})
        self._tally.read = len(self._items)
        return refused

    async def tell_of_changes(self, changed: Callable[[], None]) -> None:
        """Reading tells of no events."""

    async def remove(self, handles: Sequence[int]) -> None:
        """Read these no longer."""
        for handle in handles:
            self._items.pop(handle, None)
            self._last.pop(handle, None)
        self._tally.read = len(self._items)

    def ended(self) -> str:
        """Why the cycle stopped, if it did."""
        if self._task is None or not self._task.done() or self._task.cancelled():
            return ""
        problem = self._task.exception()
        return plain(problem, self._timeout_s) if problem is not None else "the reading cycle ended"

    async def close(self) -> None:
        """Stop the cycle."""
        await stop([self._task])

    async def _cycle(self) -> None:
        due_s = dict.fromkeys(self._periods_s, self._loop.time())
        while True:
            now_s = self._loop.time()
            kinds = [kind for kind, at_s in due_s.items() if at_s <= now_s]
            await self._read_kinds(kinds)
            for kind in kinds:
                # a read that took longer than its period skips beats rather than piling up
                due_s[kind] = max(due_s[kind] + self._periods_s[kind], self._loop.time())
            await asyncio.sleep(max(0.001, min(due_s.values()) - self._loop.time()))

    async def _read_kinds(self, kinds: Sequence[bool]) -> None:
        items = [item for item in self._items.values() if item.state_like in kinds]
        values = await self._services.read([item.node for item in items]) if items else []
        self.heard_s = self._loop.time()
        now_us = clock.now_us()
        if not items:
            return
        self._tally.last_publish_us = now_us
        # an item may have been removed while its answer was on the way
        pairs = [
            (item.handle, value)
            for item, value in zip(items, values, strict=True)
            if item.handle in self._items and self._is_news(item.handle, value)
        ]
        self._receive([handle for handle, _ in pairs], [value for _, value in pairs], now_us, False)

    def _is_news(self, handle: int, value: ua.DataValue) -> bool:
        raw = value.Value.Value
        # NaN differs from itself: it would be news for ever
        shown = (None if raw != raw else raw, value.StatusCode.value)
        if handle in self._last and self._last[handle] == shown:
            return False
        self._last[handle] = shown
        return True
