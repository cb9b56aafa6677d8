"""The tools of one machine that has a tool list: they come, change, move and go."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from asyncua import ua

from swarfline.connect.decode import Special
from swarfline.connect.items import Item
from swarfline.connect.lives import Life, as_number
from swarfline.connect.mapping import Convert, Recipe, Translator
from swarfline.connect.names import Names, Refusal
from swarfline.connect.resolve import Resolver
from swarfline.connect.services import Services
from swarfline.connect.shelf import Shelf
from swarfline.connect.status import Tally
from swarfline.connect.tools import LifeNodes, ToolList, ToolNodes, read_tool_list
from swarfline.connect.unusable import kind_of
from swarfline.signals import TOOL_FIELDS, Quality, Reading, tool_signal

TOOLS = "tools"


@dataclass(frozen=True, slots=True)
class _Watched:
    """One tool being watched: its nodes, its items' handles, the signals that it gives."""

    tool: ToolNodes
    handles: tuple[int, ...]
    signals: tuple[str, ...]
    complete: bool


class ToolWatch:
    """Keeps the items of one machine's tools in step with its list."""

    def __init__(
        self, machine: str, path: str, shelf: Shelf, tally: Tally, look_again: Callable[[], None]
    ) -> None:
        self._machine = machine
        self._path = path
        self._shelf = shelf
        self._tally = tally
        self._look_again = look_again
        self._tools: dict[str, _Watched] = {}
        self._version: Item | None = None

    @property
    def is_refused(self) -> bool:
        """Whether the list itself could not be read."""
        return self._key in self._tally.refused

    @property
    def signals(self) -> int:
        """How many signals the tools give."""
        return sum(len(watched.signals) for watched in self._tools.values())

    @property
    def _key(self) -> str:
        return f"{self._machine}/{TOOLS}"

    async def look(self, resolver: Resolver, services: Services, names: Names) -> list[Reading]:
        """Read the list; a last reading (BAD, times still zero) for each signal of a tool that is gone."""
        try:
            place = await resolver.find(await resolver.root(self._machine), self._path)
            found = await read_tool_list(services, names, place)
        except Refusal as problem:
            self._tally.refused[self._key] = str(problem)
            found = ToolList((), {}, None)
        else:
            self._tally.refused.pop(self._key, None)
        await self._watch_version(found.version)
        return await self._compare(found)

    async def _watch_version(self, version: ua.NodeId | None) -> None:
        old = self._version
        if old is not None and old.node == version and old.handle in self._shelf.items:
            return
        if old is not None:
            await self._shelf.drop([old.handle])
        self._version = None
        if version is None:
            return
        item = self._shelf.new(version, self._machine, f"{TOOLS}.version")
        self._shelf.decoder.route_special(item.handle, self._machine, self._asks_for_a_look())
        if not await self._shelf.add([item]):
            self._version = item

    def _asks_for_a_look(self) -> Special:
        first = True

        def special(_raw: Any, _source_us: int, _received_us: int, _quality: int) -> list[Reading]:
            nonlocal first
            if not first:
                self._look_again()
            first = False
            return []

        return special

    async def _compare(self, found: ToolList) -> list[Reading]:
        now = {tool.key: tool for tool in found.tools}
        old = [w for key, w in self._tools.items() if now.get(key) != w.tool or not self._is_whole(w)]
        await self._shelf.drop([handle for watched in old for handle in watched.handles])
        for watched in old:
            del self._tools[watched.tool.key]
            self._clear_refusals(watched.tool.key)
        await self._watch([tool for tool in found.tools if tool.key not in self._tools], found.values)
        still = {signal for watched in self._tools.values() for signal in watched.signals}
        gone = [signal for watched in old for signal in watched.signals if signal not in still]
        return [Reading(self._machine, signal, 0, 0, None, int(Quality.BAD)) for signal in gone]

    def _is_whole(self, watched: _Watched) -> bool:
        return watched.complete and all(handle in self._shelf.items for handle in watched.handles)

    def _clear_refusals(self, key: str) -> None:
        start = f"{self._key}[{key}]"
        for name in [name for name in self._tally.refused if name.startswith(start)]:
            del self._tally.refused[name]

    async def _watch(self, tools: Sequence[ToolNodes], values: Mapping[ua.NodeId, float | None]) -> None:
        """Watch all items of some tools in one go."""
        items = {tool.key: self._items(tool, values) for tool in tools}
        flat = {item.handle: item for some in items.values() for item in some}
        rejected = await self._shelf.add(list(flat.values()))
        self._tally.refused |= {flat[handle].key: reason for handle, reason in rejected.items()}
        for tool in tools:
            if tool.refused:
                self._tally.refused[f"{self._key}[{tool.key}]"] = tool.refused
            self._tools[tool.key] = _watched(tool, items[tool.key], rejected)

    def _items(self, tool: ToolNodes, values: Mapping[ua.NodeId, float | None]) -> list[Item]:
        items = [self._field_item(tool.key, name, node) for name, node in tool.fields]
        if tool.life is not None:
            items += self._life_items(tool.key, tool.life, values)
        return items

    def _field_item(self, key: str, name: str, node: ua.NodeId) -> Item:
        convert = Translator(Recipe(TOOL_FIELDS[name])).convert
        item = self._shelf.new(node, self._machine, tool_signal(key, name))
        if name == "pot":
            convert = self._moved(key, convert)
        self._shelf.decoder.route(item.handle, self._machine, item.name, convert)
        return item

    def _moved(self, key: str, convert: Convert) -> Convert:
        """A tool that shows another place than its key is to be looked up again."""

        def pot(raw: Any) -> Any:
            value = convert(raw)
            if key.isdecimal() and value != key:
                self._look_again()
            return value

        return pot

    def _life_items(self, key: str, nodes: LifeNodes, values: Mapping[ua.NodeId, float | None]) -> list[Item]:
        life = Life(nodes.counting_up, nodes.factor, {part: values.get(node) for part, node in nodes.parts})
        items = []
        for part, node in nodes.parts:
            item = self._shelf.new(node, self._machine, f"{TOOLS}[{key}].{part}")
            special = partial(self._say_life, key, life, part)
            self._shelf.decoder.route_special(item.handle, self._machine, special)
            items.append(item)
        return items

    def _say_life(
        self, key: str, life: Life, part: str, raw: Any, source_us: int, received_us: int, quality: int
    ) -> list[Reading]:
        machine, bad = self._machine, int(Quality.BAD)
        value = as_number(raw) if quality != bad else None
        if value is None and quality != bad:
            self._tally.ignored.note(machine, f"{TOOLS}[{key}].{part}", kind_of(ValueError(), raw), raw)
        return [
            Reading(
                machine, tool_signal(key, name), source_us, received_us, said, bad if said is None else quality
            )
            for name, said in life.update(part, value)
        ]  # fmt: skip


def _watched(tool: ToolNodes, items: Sequence[Item], rejected: Mapping[int, str]) -> _Watched:
    handles = tuple(item.handle for item in items if item.handle not in rejected)
    signals = (*(tool_signal(tool.key, name) for name, _ in tool.fields), *_life_signals(tool))
    return _Watched(tool, handles, signals, complete=not any(item.handle in rejected for item in items))


def _life_signals(tool: ToolNodes) -> list[str]:
    """The signals that the tool's life can give, by the parts that it has."""
    if tool.life is None:
        return []
    parts = [part for part, _ in tool.life.parts]
    life = Life(tool.life.counting_up, 1.0, dict.fromkeys(parts, 0.0))
    known = [name for part in parts for name, value in life.update(part, 0.0) if value is not None]
    return [tool_signal(tool.key, name) for name in dict.fromkeys(known)]
