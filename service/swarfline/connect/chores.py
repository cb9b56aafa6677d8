"""What a session does besides receiving: the full set, re-reads after losses, retries, tool lists."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping, Sequence

from swarfline import clock
from swarfline.connect.decode import DEAD, Decoder
from swarfline.connect.items import Item
from swarfline.connect.links import Links
from swarfline.connect.past import Past
from swarfline.connect.readback import Readback
from swarfline.connect.services import Services
from swarfline.connect.source import Source
from swarfline.connect.stock import Stock
from swarfline.signals import Reading

RETRY_S = 15.0
"""Refused nodes are asked for again after this, for ever."""
TOOLS_S = 60.0
"""After this we look by ourselves for nodes that are gone and read tool lists again."""
LEAST_LOOK_S = 2.0
"""Between two looks, however often a server tells that something changed."""
PERIOD_S = 0.25


class Chores:
    """Runs beside the watch; what fails here ends the session."""

    def __init__(
        self,
        services: Services,
        stock: Stock,
        decoder: Decoder,
        links: Links,
        source: Source,
        offset: Callable[[], int | None],
        readback: Readback,
    ) -> None:
        self._services = services
        self._stock = stock
        self._decoder = decoder
        self._links = links
        self._source = source
        self._offset = offset
        self._readback = readback
        self._full: Sequence[Reading] | None = None
        self._loop = asyncio.get_running_loop()
        self._arrived: set[int] = set()
        self._pending: set[int] | None = None
        self._distrust = False
        self._torn: list[str] = []
        self._since_s = self._loop.time()
        self._retried_s = self._looked_s = self._since_s
        self.tools_due = self.model_changed = False
        self.is_open = False

    def filled(self) -> None:
        """Every item is being watched: from here on their first values are awaited."""
        self._pending = set(self._stock.items) - self._arrived
        self._since_s = self._retried_s = self._looked_s = self._loop.time()
        self._open_if_full()

    def arrived(self, handles: Iterable[int]) -> None:
        """Values of these items came."""
        if self.is_open:
            return
        if self._pending is None:
            self._arrived.update(handles)
        else:
            self._pending.difference_update(handles)
            self._open_if_full()

    def torn(self, machines: Sequence[str], good_us: int, good_source_us: int) -> None:
        """Values of these machines were lost; ``good_*`` is the last moment when nothing was."""
        # what is being read just now may be older than what was lost
        self._distrust = True
        if self.is_open:
            self._torn += self._links.hole(machines, good_us, good_source_us)

    def _open_if_full(self) -> None:
        if not self._pending and not self._distrust:
            self._open([])

    def _open(self, read: Sequence[Reading]) -> None:
        """The full set is in hand: values flow, once what happened since a loss was read back."""
        if self._readback.is_due(self._links.machines):
            self._full = self._full or read
        else:
            self._open_with(read, {})

    def _open_with(self, read: Sequence[Reading], pasts: Mapping[str, Past]) -> None:
        self.is_open = True
        self._stock.opened()
        now_us, refused = clock.now_us(), self._stock.refused
        self._links.open(self._links.machines, read, refused, now_us, self._offset(), pasts)

    async def _read_back(self, read: Sequence[Reading]) -> None:
        pasts = await self._readback.pasts(self._links.machines)
        if self._distrust:
            # messages were lost meanwhile: of them only the values now are known
            self._distrust, pasts = False, {}
            read = await self._read(list(self._stock.items.values()))
        self._open_with(read, pasts)

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            await asyncio.sleep(PERIOD_S)
            now_s = self._loop.time()
            if not self.is_open:
                await (self._read_missing(now_s) if self._full is None else self._read_back(self._full))
                continue
            if self._torn:
                await self._read_torn()
            await self._stock.set_aside()
            if self._decoder.dead:
                await self._bury()
            await self._look_around(now_s)

    async def _look_around(self, now_s: float) -> None:
        """For nodes that are gone or were missing, and for tools: slowly by ourselves, soon where told to."""
        since_s = now_s - self._looked_s
        is_whole = since_s >= TOOLS_S or (self.model_changed and since_s >= LEAST_LOOK_S)
        if is_whole:
            self.model_changed = False
            await self._look_for_dead()
        if is_whole or now_s - self._retried_s >= RETRY_S:
            self._retried_s = now_s
            await self._stock.retry()
        if is_whole or (self.tools_due and since_s >= LEAST_LOOK_S):
            self.tools_due, self._looked_s = False, now_s
            await self._look_at_tools()

    async def _read_missing(self, now_s: float) -> None:
        """Some servers send no first value until there is a change: then it is read."""
        if self._distrust:
            self._distrust = False
            readings = await self._read(list(self._stock.items.values()))
        elif now_s - self._since_s > self._source.first_values_s:
            readings = await self._read(
                [self._stock.items[h] for h in self._pending or () if h in self._stock.items]
            )
        else:
            return
        if not self.is_open:
            self._open(readings)

    async def _read_torn(self) -> None:
        machines, self._torn = self._torn, []
        self._distrust = False
        readings = await self._read(self._stock.of(machines))
        pasts = await self._readback.pasts(machines)
        if self._distrust:
            # more was lost meanwhile, of these machines or others: only the values now are known for sure
            readings, pasts = await self._read(self._stock.of(machines)), {}
        refused, offset_us = self._refused(machines), self._offset() if pasts else None
        self._links.open(machines, readings, refused, clock.now_us(), offset_us, pasts)

    def _refused(self, machines: Sequence[str]) -> list[tuple[str, str]]:
        return [pair for pair in self._stock.refused if pair[0] in machines]

    async def _read(self, items: Sequence[Item]) -> list[Reading]:
        values = await self._services.read([item.node for item in items]) if items else []
        now_us = clock.now_us()
        pairs = [(item.handle, value) for item, value in zip(items, values, strict=True)]
        return self._decoder.decode(pairs, now_us, self._links.fallback_us(now_us))

    async def _bury(self) -> None:
        dead = list(self._decoder.dead)
        self._decoder.dead.clear()
        await self._stock.bury(dead)

    async def _look_for_dead(self) -> None:
        """Nodes that went away: some servers say nothing of it to whoever watches them."""
        items = list(self._stock.items.values())
        values = await self._services.read([item.node for item in items]) if items else []
        now_us = clock.now_us()
        gone = [
            (item.handle, value)
            for item, value in zip(items, values, strict=True)
            if value.StatusCode.value >> 16 in DEAD
        ]
        readings = self._decoder.decode(gone, now_us, self._links.fallback_us(now_us))
        self._links.values(readings, now_us)
        if self._decoder.dead:
            await self._bury()

    async def _look_at_tools(self) -> None:
        now_us = clock.now_us()
        source_us = self._links.fallback_us(now_us)
        ended = await self._stock.refresh_tools()
        self._links.values([r._replace(source_us=source_us, received_us=now_us) for r in ended], now_us)
