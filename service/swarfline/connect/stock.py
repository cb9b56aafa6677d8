"""What a session watches: signals found, signals refused and retried, tools that come and go."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from asyncua import ua

from swarfline.connect.decode import Decoder
from swarfline.connect.items import Item
from swarfline.connect.names import Names
from swarfline.connect.reasons import status_words
from swarfline.connect.resolve import Found, Resolver, Wanted, wanted_signals
from swarfline.connect.services import UNDECODABLE, Services
from swarfline.connect.shelf import Shelf
from swarfline.connect.source import Source
from swarfline.connect.status import Tally
from swarfline.connect.toolwatch import ToolWatch
from swarfline.connect.unusable import NOT_DECODED
from swarfline.plant.model import Machine, Plant
from swarfline.signals import Reading, is_state_like


class Stock:
    """The items of one session and how their values are read."""

    def __init__(
        self,
        plant: Plant,
        machines: Sequence[Machine],
        services: Services,
        names: Names,
        decoder: Decoder,
        source: Source,
        tally: Tally,
        look_again: Callable[[], None],
    ) -> None:
        self._services = services
        self._names = names
        self._tally = tally
        self._look_again = look_again
        self._resolver = Resolver(services, names, machines)
        self._shelf = Shelf(decoder, source, services)
        self._wanted = [want for machine in machines for want in wanted_signals(plant, machine)]
        self._waiting: list[Wanted] = []
        self._by_handle: dict[int, Wanted] = {}
        self._tools = [
            ToolWatch(machine.id, path, self._shelf, tally, look_again)
            for machine in machines
            if (path := plant.tools_of(machine).objects)
        ]

    @property
    def items(self) -> dict[int, Item]:
        """Everything being watched, by handle."""
        return self._shelf.items

    @property
    def refused(self) -> list[tuple[str, str]]:
        """(machine, signal) of every signal that waits to be found."""
        return [(want.machine, want.name) for want in self._waiting]

    def of(self, machines: Iterable[str]) -> list[Item]:
        """The items of some machines."""
        asked = set(machines)
        return [item for item in self.items.values() if item.machine in asked]

    def opened(self) -> None:
        """The machines are in sight: what is found from here on joins them."""
        self._shelf.is_open = True

    async def fill(self) -> None:
        """Find and watch everything that there is; the rest waits for ``retry``."""
        await self._take(self._wanted)
        await self.refresh_tools()

    async def retry(self) -> None:
        """Look once more for what was refused, lists that could not be read included."""
        if self._waiting:
            await self._take(list(self._waiting))
        for tools in self._tools:
            if tools.is_refused:
                await tools.look(self._resolver, self._services, self._names)
        self._count()

    async def refresh_tools(self) -> list[Reading]:
        """Read the tool lists again; a last reading (BAD, times zero) for each signal of a tool that is gone."""
        ended: list[Reading] = []
        for tools in self._tools:
            ended += await tools.look(self._resolver, self._services, self._names)
        self._count()
        return ended

    async def bury(self, handles: Iterable[int]) -> None:
        """Nodes that went away: their signals wait to be found again, their tools are looked up anew."""
        await self._put_away(handles, status_words(ua.StatusCodes.BadNodeIdUnknown))

    async def set_aside(self) -> None:
        """Items whose value cannot be decoded are watched no longer, until it can."""
        bad = self._services.undecodable
        items = [item for item in self.items.values() if item.node in bad] if bad else []
        for item in items:
            self._tally.ignored.note(item.machine, item.name, NOT_DECODED, b"")
        if items:
            await self._put_away([item.handle for item in items], UNDECODABLE)

    async def _put_away(self, handles: Iterable[int], reason: str) -> None:
        gone = [handle for handle in handles if handle in self.items]
        for handle in gone:
            want = self._by_handle.pop(handle, None)
            if want is None:
                self._look_again()
            else:
                self._waiting.append(want)
                self._tally.refused[want.key] = reason
        await self._shelf.drop(gone)
        self._count()

    def _count(self) -> None:
        self._tally.signals = len(self._by_handle) + sum(tools.signals for tools in self._tools)

    async def _take(self, wanted: Sequence[Wanted]) -> None:
        found, refused = await self._resolver.resolve(wanted)
        items = {item.handle: (item, one.wanted) for one in found for item in (self._item(one),)}
        rejected = await self._shelf.add([item for item, _ in items.values()])
        refused += [(items[handle][1], reason) for handle, reason in rejected.items()]
        self._by_handle |= {handle: want for handle, (_, want) in items.items() if handle not in rejected}
        asked = {want.key for want in wanted}
        self._waiting = [want for want in self._waiting if want.key not in asked]
        self._waiting += [want for want, _ in refused]
        for key in asked:
            self._tally.refused.pop(key, None)
        self._tally.refused |= {want.key: reason for want, reason in refused}
        self._count()

    def _item(self, one: Found) -> Item:
        want = one.wanted
        item = self._shelf.new(one.node, want.machine, want.name, is_state_like(want.name))
        self._shelf.decoder.route(item.handle, want.machine, want.name, one.translator.convert)
        return item
