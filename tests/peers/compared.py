"""An instance held against the official types: what deviates, one line each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from .browsed import Seen
from .nodeset import HAS_TYPE, MANDATORY, PLACEHOLDERS, UA, Name, Node, Nodesets

BASE_DATA_TYPE = (UA, 24)
MODELS = "http://opcfoundation.org/UA/"
OPEN = {(UA, 61), (UA, 58)}
"""FolderType and BaseObjectType: anything may be below them."""

Declared = dict[Name, list[Node]]


def deviations(sets: Nodesets, seen: Seen, made_from: Sequence[Node] = (), path: str = "") -> Iterator[str]:
    """What of an instance and all below it is not as its type and the declarations it is made from say."""
    path = f"{path}/{seen.name[1]}"
    declared = _declared(sets, seen, made_from)
    have = {member.name for member in seen.members}
    for name, nodes in declared.items():
        if name not in have and any(sets.rule(node) == MANDATORY for node in nodes):
            yield f"{path}: mandatory {name[1]} of {name[0]} is missing"
    for member in seen.members:
        of = declared.get(member.name) or _placeholder(sets, declared, member)
        for node in of:
            yield from _unlike(sets, member, node, f"{path}/{member.name[1]}")
        if not of and seen.type_ in sets.nodes and seen.type_ not in OPEN and member.name[0].startswith(MODELS):
            yield f"{path}: {member.name[1]} of {member.name[0]} is not declared here"
        yield from deviations(sets, member, of, path)


def _declared(sets: Nodesets, seen: Seen, made_from: Sequence[Node]) -> Declared:
    found: Declared = {}
    for node in sets.members(seen.type_) if seen.type_ else []:
        found.setdefault(node.name, []).append(node)
    for declaration in made_from:
        for node in sets.below(declaration.key):
            found.setdefault(node.name, []).append(node)
    return found


def _placeholder(sets: Nodesets, declared: Declared, member: Seen) -> list[Node]:
    """The placeholder that a member fills, by its type."""
    for nodes in declared.values():
        type_ = nodes[0].one(HAS_TYPE)
        if sets.rule(nodes[0]) in PLACEHOLDERS and type_ and member.type_ and sets.is_a(member.type_, type_):
            return nodes
    return []


def _unlike(sets: Nodesets, member: Seen, of: Node, path: str) -> Iterator[str]:
    wanted = of.one(HAS_TYPE)
    if member.kind != of.kind:
        yield f"{path}: a {member.kind}, declared as {of.kind}"
    if wanted and (member.type_ is None or not sets.is_a(member.type_, wanted)):
        yield f"{path}: type definition {member.type_}, declared {wanted}"
    if of.kind == "Variable":
        declared = of.data_type or BASE_DATA_TYPE
        if declared != BASE_DATA_TYPE and not (member.data_type and sets.is_a(member.data_type, declared)):
            yield f"{path}: data type {member.data_type}, declared {declared}"
        if of.rank != member.rank and of.rank >= -1:
            yield f"{path}: value rank {member.rank}, declared {of.rank}"
