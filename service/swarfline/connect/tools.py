"""The tool list of OPC 40501-1: which tools there are, and the nodes of their fields."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from asyncua import ua

from swarfline.connect.codes import STANDARD
from swarfline.connect.engineering import unit_factor, unit_symbol
from swarfline.connect.lives import as_number
from swarfline.connect.names import Names, Refusal
from swarfline.connect.services import Services, browse_path
from swarfline.connect.unusable import clean
from swarfline.units import LIFE_UNITS

_FIELDS = {
    "number": "mt:ControlIdentifier1",
    "pot": "mt:Location/mt:PlaceNumber",
    "name": "mt:Name",
    "locked": "mt:Locked",
}
_LIFE_PATHS = {
    "life_basis": "mt:Indication",
    "counting_up": "mt:IsCountingUp",
    # its browse name is in mt in the model files and in ua in the printed table: servers follow either
    "unit": "mt:EngineeringUnits",
    "unit_ua": "ua:EngineeringUnits",
    "start": "mt:StartValue",
    "warning": "mt:WarningValue",
    "limit": "mt:LimitValue",
}
_DEFAULT_UNITS = {"time": "h", "count": "1", "distance": "m"}
"""Tool life of the basis time is in decimal hours by the specification; the others where nothing is said."""
_KEY_LENGTH = 40

Nodes = dict[str, ua.NodeId]


@dataclass(frozen=True, slots=True)
class LifeNodes:
    """The first life entry of a tool. ``parts`` pairs each raw part of a Life with its node."""

    parts: tuple[tuple[str, ua.NodeId], ...]
    counting_up: bool
    factor: float


@dataclass(frozen=True, slots=True)
class ToolNodes:
    """One tool as it stands now; two that are equal need no new items.

    ``fields`` pairs tool fields with nodes; ``refused`` says why there is no life, if it cannot be used.
    """

    key: str
    node: ua.NodeId
    fields: tuple[tuple[str, ua.NodeId], ...]
    life: LifeNodes | None
    refused: str = ""


@dataclass(frozen=True, slots=True)
class ToolList:
    """The tools of one machine, the values their lives have just now, and the list's NodeVersion if any."""

    tools: tuple[ToolNodes, ...]
    values: dict[ua.NodeId, float | None]
    version: ua.NodeId | None


async def read_tool_list(services: Services, names: Names, place: ua.NodeId) -> ToolList:
    """All tools below the list, with few calls however many there are."""
    version = (await services.translate([browse_path(place, [ua.QualifiedName("NodeVersion", 0)])]))[0]
    tools = await _tool_objects(services, names, [place])
    lives = await _life_nodes(services, names, [nodes for _, nodes in tools])
    values = await _read(services, [n for _, nodes in tools for n in nodes.values()] + _values_of(lives))
    keys = _keys([(name, values.get(nodes["pot"]) if "pot" in nodes else None) for name, nodes in tools])
    found = tuple(
        _tool(key, nodes, life, values) for key, (_, nodes), life in zip(keys, tools, lives, strict=True)
    )
    numbers = {node: as_number(values.get(node)) for life in lives for node in life.values()}
    return ToolList(found, numbers, version if isinstance(version, ua.NodeId) else None)


async def _tool_objects(
    services: Services, names: Names, places: Sequence[ua.NodeId], is_holder: bool = False
) -> list[tuple[str, Nodes]]:
    """(browse name, nodes by field) of each tool; holders of several tools are looked into once."""
    children = [
        child
        for below in await services.children(places)
        for child in below
        if child.NodeClass == ua.NodeClass.Object
    ]
    objects = [ua.NodeId(c.NodeId.Identifier, c.NodeId.NamespaceIndex, c.NodeId.NodeIdType) for c in children]
    nodes = await _below(services, names, objects, {**_FIELDS, "life": "mt:ToolLife"})
    tools, holders = [], []
    for child, place, found in zip(children, objects, nodes, strict=True):
        if "number" in found:
            tools.append((str(child.BrowseName.Name), {"object": place, **found}))
        else:
            holders.append(place)
    if holders and not is_holder:
        tools += await _tool_objects(services, names, holders, is_holder=True)
    return tools


async def _life_nodes(services: Services, names: Names, tools: Sequence[Nodes]) -> list[Nodes]:
    """Nodes of the first life entry of each tool, empty where there is none."""
    owners = [n for n, nodes in enumerate(tools) if "life" in nodes]
    entries: dict[int, ua.NodeId] = {}
    for n, below in zip(owners, await services.children([tools[n]["life"] for n in owners]), strict=True):
        variables = [c.NodeId for c in below if c.NodeClass == ua.NodeClass.Variable]
        if variables:
            first = variables[0]
            entries[n] = ua.NodeId(first.Identifier, first.NamespaceIndex, first.NodeIdType)
    parts = await _below(services, names, list(entries.values()), _LIFE_PATHS)
    lives: list[Nodes] = [{} for _ in tools]
    for (n, entry), found in zip(entries.items(), parts, strict=True):
        lives[n] = {"value": entry, **found}
    return lives


async def _below(
    services: Services, names: Names, starts: Sequence[ua.NodeId], paths: dict[str, str]
) -> list[Nodes]:
    known: dict[str, list[ua.QualifiedName]] = {}
    for field, path in paths.items():
        try:
            known[field] = names.path(path)
        except Refusal:
            continue
    asked = [browse_path(start, steps) for start in starts for steps in known.values()]
    places = iter(await services.translate(asked))
    return [
        {field: place for field in known for place in (next(places),) if isinstance(place, ua.NodeId)}
        for _ in starts
    ]


def _values_of(lives: Sequence[Nodes]) -> list[ua.NodeId]:
    return [node for life in lives for node in life.values()]


async def _read(services: Services, nodes: Sequence[ua.NodeId]) -> dict[ua.NodeId, Any]:
    asked = list(dict.fromkeys(nodes))
    values = await services.read(asked)
    return {
        node: value.Value.Value for node, value in zip(asked, values, strict=True) if not value.StatusCode.is_bad()
    }


def _keys(tools: Sequence[tuple[str, Any]]) -> list[str]:
    """One key per tool: its place number, or its browse name where there is none or two share it."""
    places = [str(place) if place is not None else "" for _, place in tools]
    seen = Counter(places)
    keys = [place if place and seen[place] == 1 else name for (name, _), place in zip(tools, places, strict=True)]
    return _distinct([clean(key[:_KEY_LENGTH]).replace("]", ")") or "tool" for key in keys])


def _distinct(keys: Sequence[str]) -> list[str]:
    counts: Counter[str] = Counter()
    named = []
    for key in keys:
        counts[key] += 1
        named.append(key if counts[key] == 1 else f"{key[: _KEY_LENGTH - 4]}.{counts[key]}")
    return named


def _tool(key: str, nodes: Nodes, life: Nodes, values: dict[ua.NodeId, Any]) -> ToolNodes:
    fields = [(field, nodes[field]) for field in _FIELDS if field in nodes]
    refused, entry = "", None
    if life:
        if "life_basis" in life:
            fields.append(("life_basis", life["life_basis"]))
        try:
            entry = _entry(life, values)
        except Refusal as problem:
            refused = str(problem)
    return ToolNodes(key, nodes["object"], tuple(fields), entry, refused)


def _entry(life: Nodes, values: dict[ua.NodeId, Any]) -> LifeNodes:
    up = values.get(life["counting_up"]) if "counting_up" in life else None
    if not isinstance(up, bool):
        raise Refusal("the life entry does not say whether it counts up (mt:IsCountingUp)")
    said = values.get(life["life_basis"]) if "life_basis" in life else None
    # a structure or an array cannot even be looked up
    basis = STANDARD["life_basis"].get(said) if isinstance(said, int | str) else None
    if basis is None:
        raise Refusal("the life entry is not by time, count or distance (mt:Indication)")
    unit_node = life.get("unit", life.get("unit_ua"))
    unit = unit_symbol(values.get(unit_node)) if unit_node is not None else None
    parts = tuple((part, life[part]) for part in ("value", "start", "warning", "limit") if part in life)
    return LifeNodes(parts, up, unit_factor(unit or _DEFAULT_UNITS[basis], LIFE_UNITS[basis]))
