"""From the plant file's nodes to the nodes of this session, with their translators."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from asyncua import ua

from swarfline.connect.engineering import read_units, unit_factor
from swarfline.connect.mapping import Recipe, Translator
from swarfline.connect.names import Names, Refusal, is_node_id
from swarfline.connect.reasons import status_words
from swarfline.connect.services import Services, browse_path
from swarfline.plant.model import Machine, NodeRef, Plant
from swarfline.signals import SIGNALS, TOOL_FIELDS, Kind, Signal, tool_signal

OBJECTS = ua.NodeId(ua.ObjectIds.ObjectsFolder)


@dataclass(frozen=True, slots=True)
class Wanted:
    """A signal that the plant file asks for."""

    machine: str
    name: str
    signal: Signal
    ref: NodeRef

    @property
    def key(self) -> str:
        """``machine/signal``, as the status names it."""
        return f"{self.machine}/{self.name}"


@dataclass(frozen=True, slots=True)
class Found:
    """A wanted signal's node on this server."""

    wanted: Wanted
    node: ua.NodeId
    translator: Translator


def wanted_signals(plant: Plant, machine: Machine) -> list[Wanted]:
    """All signals with a node of their own, tools given one by one included."""
    found = [Wanted(machine.id, name, SIGNALS[name], ref) for name, ref in plant.nodes_of(machine).items()]
    for key, fields in plant.tools_of(machine).each.items():
        found += [
            Wanted(machine.id, tool_signal(key, field), TOOL_FIELDS[field], ref) for field, ref in fields.items()
        ]
    return found


class Resolver:
    """Finds nodes for one session."""

    def __init__(self, services: Services, names: Names, machines: Sequence[Machine]) -> None:
        self._services = services
        self._names = names
        self._machines = {machine.id: machine for machine in machines}
        self._roots: dict[str, ua.NodeId] = {}

    async def root(self, machine: str) -> ua.NodeId:
        """The node where a machine's paths begin; raises Refusal."""
        if machine not in self._roots:
            text = self._machines[machine].root
            self._roots[machine] = await self.find(OBJECTS, text) if text else OBJECTS
        return self._roots[machine]

    async def find(self, start: ua.NodeId, text: str) -> ua.NodeId:
        """The node of one path or NodeId; raises Refusal."""
        if is_node_id(text):
            return self._names.node_id(text)
        place = (await self._services.translate([browse_path(start, self._names.path(text))]))[0]
        if not isinstance(place, ua.NodeId):
            raise Refusal(f"{text}: {status_words(place)}")
        return place

    async def resolve(self, wanted: Sequence[Wanted]) -> tuple[list[Found], list[tuple[Wanted, str]]]:
        """The nodes found, and the reason for each that is not."""
        refused: dict[int, str] = {}
        nodes = await self._nodes(wanted, refused)
        units = await self._units(wanted, nodes)
        found = []
        for n, node in nodes.items():
            try:
                found.append(Found(wanted[n], node, _translator(wanted[n], units.get(n))))
            except (Refusal, ValueError) as problem:
                refused[n] = str(problem)
        return found, [(wanted[n], reason) for n, reason in refused.items()]

    async def _nodes(self, wanted: Sequence[Wanted], refused: dict[int, str]) -> dict[int, ua.NodeId]:
        nodes: dict[int, ua.NodeId] = {}
        paths: dict[int, ua.BrowsePath] = {}
        for n, want in enumerate(wanted):
            try:
                if is_node_id(want.ref.node):
                    nodes[n] = self._names.node_id(want.ref.node)
                else:
                    paths[n] = browse_path(await self.root(want.machine), self._names.path(want.ref.node))
            except Refusal as problem:
                refused[n] = str(problem)
        for n, place in zip(paths, await self._services.translate(list(paths.values())), strict=True):
            if isinstance(place, ua.NodeId):
                nodes[n] = place
            else:
                refused[n] = f"{wanted[n].ref.node}: {status_words(place)}"
        return nodes

    async def _units(self, wanted: Sequence[Wanted], nodes: dict[int, ua.NodeId]) -> dict[int, str | None]:
        asked = [n for n in nodes if _needs_unit(wanted[n])]
        symbols = await read_units(self._services, [nodes[n] for n in asked]) if asked else []
        return dict(zip(asked, symbols, strict=True))


def _needs_unit(want: Wanted) -> bool:
    return want.signal.kind is Kind.NUMBER and bool(want.signal.unit) and want.ref.unit is None


def _translator(want: Wanted, unit: str | None) -> Translator:
    ref = want.ref
    return Translator(
        Recipe(
            signal=want.signal,
            scale=ref.scale,
            offset=ref.offset,
            unit_factor=unit_factor(ref.unit or unit, want.signal.unit),
            index=ref.index,
            table=ref.values,
            width=ref.width,
        )
    )
