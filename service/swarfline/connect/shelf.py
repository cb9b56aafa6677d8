"""The items of one session, by client handle."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

from asyncua import ua

from swarfline.connect.decode import Decoder
from swarfline.connect.items import Item
from swarfline.connect.services import UNDECODABLE, Services
from swarfline.connect.source import Source


class Shelf:
    """Keeps items, the decoder's routes and the source in step."""

    def __init__(self, decoder: Decoder, source: Source, services: Services) -> None:
        self._services = services
        self.decoder = decoder
        self._source = source
        self._handles = count(1)
        self.items: dict[int, Item] = {}
        self.is_open = False
        """Whether the machines are in sight already, so that what is added joins them."""

    def new(self, node: ua.NodeId, machine: str, name: str, state_like: bool = True) -> Item:
        """An item under a fresh handle, to be routed and then added."""
        item = Item(next(self._handles), node, machine, name, state_like)
        self.items[item.handle] = item
        return item

    async def add(self, items: Sequence[Item]) -> dict[int, str]:
        """Have items watched; those the server refuses are put away, with the reason by handle.

        One whose value cannot be decoded is not watched: it would take whole notifications with it.
        """
        bad = self._services.undecodable
        if doubtful := [item.node for item in items if item.node in bad]:
            await self._services.read(doubtful)
        rejected = {item.handle: UNDECODABLE for item in items if item.node in bad}
        if self.is_open:
            self.decoder.joining |= {item.handle for item in items}
        rejected |= await self._source.add([item for item in items if item.handle not in rejected])
        for handle in rejected:
            self._forget(handle)
        return rejected

    async def drop(self, handles: Sequence[int]) -> None:
        """Watch these no longer."""
        for handle in handles:
            self._forget(handle)
        await self._source.remove(handles)

    def _forget(self, handle: int) -> None:
        self.items.pop(handle, None)
        self.decoder.forget(handle)
