"""What a client sees below a node: names, types and values, with namespace URIs instead of indexes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from asyncua import Client, Node, ua

from .nodeset import BELOW, Key, Name

_DOWN = ua.BrowseDirection.Forward


@dataclass
class Seen:
    """One node as a client sees it; ``type_`` is None where there is no type definition."""

    node: ua.NodeId
    name: Name
    kind: str
    type_: Key | None = None
    data_type: Key | None = None
    rank: int = -1
    value: Any = None
    members: list[Seen] = field(default_factory=list)

    def each(self, path: str = "") -> Iterator[tuple[str, Seen]]:
        """This node and all below, with their paths."""
        here = f"{path}/{self.name[1]}"
        yield here, self
        for member in self.members:
            yield from member.each(here)


class Browser:
    """Walks one server."""

    def __init__(self, client: Client, spaces: list[str]) -> None:
        self._client, self._spaces = client, spaces

    def key(self, node: ua.NodeId) -> Key | None:
        """A numeric NodeId by namespace URI; None for others."""
        if not isinstance(node.Identifier, int):
            return None
        return self._spaces[node.NamespaceIndex], node.Identifier

    async def see(self, node: Node, depth: int = 12) -> Seen:
        """A node with everything below it."""
        name, kind = await node.read_browse_name(), await node.read_node_class()
        seen = Seen(node.nodeid, (self._spaces[name.NamespaceIndex], name.Name or ""), kind.name)
        if kind is ua.NodeClass.Variable:
            data_type = await node.read_data_type()
            seen.data_type = self.key(data_type)
            seen.rank = int((await node.read_attribute(ua.AttributeIds.ValueRank)).Value.Value)
            seen.value = await node.read_data_value(raise_on_bad_status=False)
        for reference in await node.get_references(ua.ObjectIds.References, _DOWN):
            place = reference.ReferenceTypeId
            if place == ua.NodeId(ua.ObjectIds.HasTypeDefinition):
                seen.type_ = self.key(reference.NodeId)
            elif place.NamespaceIndex == 0 and place.Identifier in BELOW and depth:
                seen.members.append(await self.see(self._client.get_node(reference.NodeId), depth - 1))
        return seen
