"""What a session watches: signals found, signals refused and retried, tools that come and go."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from typing import Any

from asyncua import ua

from swarfline.connect.decode import Decoder, Special
from swarfline.connect.items import Item
from swarfline.connect.lives import Life, as_number
from swarfline.connect.mapping import Convert, Recipe, Translator
from swarfline.connect.names import Names, Refusal
from swarfline.connect.reasons import status_words
from swarfline.connect.resolve import Found, Resolver, Wanted, wanted_signals
from swarfline.connect.services import Services
from swarfline.connect.source import Source
from swarfline.connect.status import Tally
from swarfline.connect.tools import LifeNodes, ToolList, ToolNodes, read_tool_list
from swarfline.plant.model import Machine, Plant
from swarfline.signals import TOOL_FIELDS, Quality, Reading, is_state_like, tool_signal

TOOLS = "tools"
_HANDLES_FROM = 1


@dataclass(slots=True)
class _Watched:
    """One tool being watched: its nodes, its items' handles, the signals that it gives."""

    tool: ToolNodes
    handles: list[int]
    signals: list[str]
    complete: bool = True


@dataclass(slots=True)
class _List:
    """The tool list of one machine."""

    machine: Machine
    path: str
    tools: dict[str, _Watched] = field(default_factory=dict)
    version: Item | None = None


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
        self._decoder = decoder
        self._source = source
        self._tally = tally
        self._look_again = look_again
        self._resolver = Resolver(services, names, machines)
        self._handles = count(_HANDLES_FROM)
        self._wanted = [want for machine in machines for want in wanted_signals(plant, machine)]
        self._waiting: list[Wanted] = []
        self._by_handle: dict[int, Wanted] = {}
        self.items: dict[int, Item] = {}
        self._lists = [_List(machine, path) for machine in machines if (path := plant.tools_of(machine).objects)]

    async def fill(self) -> None:
        """Find and watch everything that there is; the rest waits for ``retry``."""
        await self._take(self._wanted)
        for tool_list in self._lists:
            await self._look(tool_list)
        self._count()

    @property
    def refused(self) -> list[tuple[str, str]]:
        """(machine, signal) of every signal that waits to be found."""
        return [(want.machine, want.name) for want in self._waiting]

    def of(self, machines: Iterable[str]) -> list[Item]:
        """The items of some machines."""
        asked = set(machines)
        return [item for item in self.items.values() if item.machine in asked]

    async def retry(self) -> None:
        """Look once more for what was refused, lists that could not be read included."""
        await self._take(list(self._waiting))
        for tool_list in self._lists:
            if f"{tool_list.machine.id}/{TOOLS}" in self._tally.refused:
                await self._look(tool_list)
        self._count()

    async def bury(self, handles: Iterable[int]) -> None:
        """Nodes that went away: their signals wait to be found again, their tools are looked up anew."""
        gone = [handle for handle in handles if handle in self.items]
        for handle in gone:
            if handle in self._by_handle:
                want = self._by_handle.pop(handle)
                self._waiting.append(want)
                self._tally.refused[want.key] = status_words(ua.StatusCodes.BadNodeIdUnknown)
            else:
                self._look_again()
        await self._drop(gone)
        self._count()

    async def refresh_tools(self) -> list[Reading]:
        """Read the tool lists again; a last reading (BAD) for each signal of a tool that vanished."""
        ended: list[Reading] = []
        for tool_list in self._lists:
            ended += await self._look(tool_list)
        self._count()
        return ended

    def _count(self) -> None:
        self._tally.signals = len(self._by_handle) + sum(
            len(watched.signals) for tool_list in self._lists for watched in tool_list.tools.values()
        )

    async def _take(self, wanted: Sequence[Wanted]) -> None:
        found, refused = await self._resolver.resolve(wanted)
        items = {item.handle: one for one in found for item in (self._item(one),)}
        rejected = await self._source.add([self.items[handle] for handle in items])
        refused += [(items[handle].wanted, reason) for handle, reason in rejected.items()]
        for handle in rejected:
            self._forget(handle)
        self._by_handle |= {h: one.wanted for h, one in items.items() if h not in rejected}
        for want in wanted:
            self._tally.refused.pop(want.key, None)
        self._tally.refused |= {want.key: reason for want, reason in refused}
        asked = {want.key for want in wanted}
        self._waiting = [w for w in self._waiting if w.key not in asked] + [want for want, _ in refused]

    def _item(self, one: Found) -> Item:
        want = one.wanted
        item = self._new(one.node, want.machine, want.name, is_state_like(want.name))
        self._decoder.route(item.handle, want.machine, want.name, one.translator.convert)
        return item

    def _new(self, node: ua.NodeId, machine: str, name: str, state_like: bool = True) -> Item:
        item = Item(next(self._handles), node, machine, name, state_like)
        self.items[item.handle] = item
        return item

    def _forget(self, handle: int) -> None:
        self.items.pop(handle, None)
        self._by_handle.pop(handle, None)
        self._decoder.forget(handle)

    async def _drop(self, handles: Sequence[int]) -> None:
        for handle in handles:
            self._forget(handle)
        await self._source.remove(handles)

    async def _look(self, tool_list: _List) -> list[Reading]:
        machine = tool_list.machine.id
        try:
            root = await self._resolver.root(machine)
            place = await self._resolver.find(root, tool_list.path)
            found = await read_tool_list(self._services, self._names, place)
        except Refusal as problem:
            self._tally.refused[f"{machine}/{TOOLS}"] = str(problem)
            found = ToolList((), {}, None)
        else:
            self._tally.refused.pop(f"{machine}/{TOOLS}", None)
        await self._watch_version(tool_list, found.version)
        return await self._compare(tool_list, found)

    async def _watch_version(self, tool_list: _List, version: ua.NodeId | None) -> None:
        old = tool_list.version
        if old is not None and (old.node == version and old.handle in self.items):
            return
        if old is not None:
            await self._drop([old.handle])
        tool_list.version = None
        if version is None:
            return
        item = self._new(version, tool_list.machine.id, f"{TOOLS}.version")
        self._decoder.route_special(item.handle, item.machine, self._asks_for_a_look())
        if await self._source.add([item]):
            self._forget(item.handle)
        else:
            tool_list.version = item

    def _asks_for_a_look(self) -> Special:
        first = True

        def special(_raw: Any, _source_us: int, _received_us: int, _quality: int) -> list[Reading]:
            nonlocal first
            if not first:
                self._look_again()
            first = False
            return []

        return special

    async def _compare(self, tool_list: _List, found: ToolList) -> list[Reading]:
        """Watch new and changed tools, end those that are gone."""
        machine, now = tool_list.machine.id, {tool.key: tool for tool in found.tools}
        old = [w for key, w in tool_list.tools.items() if now.get(key) != w.tool or not self._is_whole(w)]
        await self._drop([handle for watched in old for handle in watched.handles])
        for watched in old:
            del tool_list.tools[watched.tool.key]
            self._clear_refusals(machine, watched.tool.key)
        for key in now.keys() - tool_list.tools.keys():
            tool_list.tools[key] = await self._watch(machine, now[key], found.values)
        still = {signal for watched in tool_list.tools.values() for signal in watched.signals}
        return [
            self._last_word(machine, signal)
            for watched in old
            for signal in watched.signals
            if signal not in still
        ]

    def _is_whole(self, watched: _Watched) -> bool:
        return watched.complete and all(handle in self.items for handle in watched.handles)

    def _last_word(self, machine: str, signal: str) -> Reading:
        return Reading(machine, signal, 0, 0, None, int(Quality.BAD))

    def _clear_refusals(self, machine: str, key: str) -> None:
        start = f"{machine}/{TOOLS}[{key}]"
        for name in [name for name in self._tally.refused if name.startswith(start)]:
            del self._tally.refused[name]

    async def _watch(self, machine: str, tool: ToolNodes, values: dict[ua.NodeId, float | None]) -> _Watched:
        items, signals = [], []
        for name, node in tool.fields:
            signals.append(tool_signal(tool.key, name))
            items.append(self._field_item(machine, tool.key, name, node))
        if tool.life is not None:
            life = Life(tool.life.counting_up, tool.life.factor, {p: values.get(n) for p, n in tool.life.parts})
            signals += _life_signals(tool)
            items += self._life_items(machine, tool.key, tool.life, life)
        rejected = await self._source.add(items)
        for item in items:
            if item.handle in rejected:
                self._tally.refused[item.key] = rejected[item.handle]
                self._forget(item.handle)
        if tool.refused:
            self._tally.refused[f"{machine}/{TOOLS}[{tool.key}]"] = tool.refused
        handles = [item.handle for item in items if item.handle not in rejected]
        return _Watched(tool, handles, signals, complete=not rejected)

    def _field_item(self, machine: str, key: str, name: str, node: ua.NodeId) -> Item:
        convert = Translator(Recipe(TOOL_FIELDS[name])).convert
        item = self._new(node, machine, tool_signal(key, name))
        if name == "pot":
            convert = self._moved(key, convert)
        self._decoder.route(item.handle, machine, item.name, convert)
        return item

    def _moved(self, key: str, convert: Convert) -> Convert:
        """A tool that shows another place than its key is to be looked up again."""

        def pot(raw: Any) -> Any:
            value = convert(raw)
            if key.isdecimal() and value != key:
                self._look_again()
            return value

        return pot

    def _life_items(self, machine: str, key: str, nodes: LifeNodes, life: Life) -> list[Item]:
        items = []
        for part, node in nodes.parts:
            item = self._new(node, machine, f"{TOOLS}[{key}].{part}")
            self._decoder.route_special(item.handle, machine, partial(_say_life, machine, key, life, part))
            items.append(item)
        return items


def _life_signals(tool: ToolNodes) -> list[str]:
    """The signals that the tool's life can give, by the parts that it has."""
    if tool.life is None:
        return []
    life = Life(tool.life.counting_up, 1.0, dict.fromkeys((part for part, _ in tool.life.parts), 0.0))
    known = [name for part, _ in tool.life.parts for name, value in life.update(part, 0.0) if value is not None]
    return [tool_signal(tool.key, name) for name in dict.fromkeys(known)]


def _say_life(
    machine: str, key: str, life: Life, part: str, raw: Any, source_us: int, received_us: int, quality: int
) -> list[Reading]:
    value = as_number(raw) if quality != Quality.BAD else None
    return [
        Reading(
            machine,
            tool_signal(key, name),
            source_us,
            received_us,
            said,
            quality if said is not None else int(Quality.BAD),
        )
        for name, said in life.update(part, value)
    ]
