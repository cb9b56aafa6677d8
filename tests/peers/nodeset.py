"""The official nodeset files, as far as an instance can be held against them: types, their members, state numbers.

The files come with the npm package ``node-opcua-nodesets``; they are the OPC Foundation's UANodeSet XML.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

XML = "{http://opcfoundation.org/UA/2011/03/UANodeSet.xsd}"
UA = "http://opcfoundation.org/UA/"
MANDATORY, PLACEHOLDERS = 78, (11508, 11510)
HAS_RULE, HAS_TYPE, HAS_SUBTYPE, HAS_INTERFACE = 37, 40, 45, 17603
ORGANIZES, HAS_PROPERTY, HAS_COMPONENT, HAS_ORDERED_COMPONENT, HAS_ADD_IN = 35, 46, 47, 49, 17604
BELOW = {ORGANIZES, HAS_PROPERTY, HAS_COMPONENT, HAS_ORDERED_COMPONENT, HAS_ADD_IN}
"""References that lead from a node to its members, by their identifiers in the OPC UA namespace."""

_QUALIFIED = re.compile(r"(?:(\d+):)?(.*)", re.DOTALL)

Key = tuple[str, int]
"""Namespace URI and numeric identifier."""
Name = tuple[str, str]
"""Namespace URI and browse name."""


@dataclass
class Node:
    """One node of a nodeset, with references of both directions, each as (type, target)."""

    key: Key
    kind: str
    name: Name
    data_type: Key | None = None
    rank: int = -1
    value: ElementTree.Element | None = None
    forward: list[tuple[Key, Key]] = field(default_factory=list)
    inverse: list[tuple[Key, Key]] = field(default_factory=list)

    def one(self, reference: int) -> Key | None:
        """The target of the first forward reference of a type of the OPC UA namespace."""
        return next((target for type_, target in self.forward if type_ == (UA, reference)), None)


class Nodesets:
    """All nodes of several files, by key."""

    def __init__(self, files: Iterable[Path]) -> None:
        self.nodes: dict[Key, Node] = {}
        for file in files:
            self.nodes |= {node.key: node for node in _read(file)}
        self._children: dict[Key, list[Key]] = {}
        for node in self.nodes.values():
            for (space, kind), target in node.forward:
                if space == UA and kind in BELOW:
                    self._children.setdefault(node.key, []).append(target)
            for (space, kind), source in node.inverse:
                if space == UA and kind in BELOW:
                    self._children.setdefault(source, []).append(node.key)

    def supertype(self, key: Key) -> Key | None:
        """The supertype of a type, None at the root or where it is not known."""
        node = self.nodes.get(key)
        if node is None:
            return None
        return next((source for kind, source in node.inverse if kind == (UA, HAS_SUBTYPE)), None)

    def line(self, key: Key) -> Iterator[Key]:
        """A type and all its supertypes, and the interfaces that each of them has."""
        at: Key | None = key
        while at is not None:
            yield at
            node = self.nodes.get(at)
            if node is not None:
                yield from (target for kind, target in node.forward if kind == (UA, HAS_INTERFACE))
            at = self.supertype(at)

    def is_a(self, key: Key, wanted: Key) -> bool:
        """Whether a type is another one or below it."""
        return wanted in self.line(key)

    def below(self, key: Key) -> list[Node]:
        """What hangs directly below one node."""
        return [self.nodes[target] for target in self._children.get(key, ()) if target in self.nodes]

    def members(self, type_: Key) -> list[Node]:
        """What an instance of a type may or must have: all that its line declares, the nearest first."""
        return [node for ancestor in self.line(type_) for node in self.below(ancestor) if self.rule(node)]

    def rule(self, node: Node) -> int:
        """Modelling rule of a declaration, 0 for none."""
        rule = node.one(HAS_RULE)
        return rule[1] if rule else 0


def _read(file: Path) -> Iterator[Node]:
    root = ElementTree.parse(file).getroot()
    spaces = [UA, *(uri.text or "" for uri in root.iterfind(f"{XML}NamespaceUris/{XML}Uri"))]
    aliases = {alias.get("Alias", ""): alias.text or "" for alias in root.iterfind(f"{XML}Aliases/{XML}Alias")}

    def key(text: str) -> Key:
        text = aliases.get(text.strip(), text.strip())
        space, _, rest = text.rpartition(";")
        return spaces[int(space.removeprefix("ns=") or 0)], int(rest.removeprefix("i="))

    for element in root:
        if element.tag.startswith(f"{XML}UA") and ";s=" not in element.get("NodeId", ""):
            index, name = _QUALIFIED.fullmatch(element.get("BrowseName", "")).groups()  # type: ignore[union-attr]
            data_type = element.get("DataType")
            node = Node(
                key(element.get("NodeId", "")), element.tag.removeprefix(f"{XML}UA"),
                (spaces[int(index or 0)], name), key(data_type) if data_type else None,
                int(element.get("ValueRank", "-1")), element.find(f"{XML}Value"),
            )  # fmt: skip
            for reference in element.iterfind(f"{XML}References/{XML}Reference"):
                if ";s=" in (reference.text or ""):
                    continue  # samples in a model's file; types refer to numbers only
                pair = key(reference.get("ReferenceType", "")), key(reference.text or "")
                (node.forward if reference.get("IsForward", "true") == "true" else node.inverse).append(pair)
            yield node
