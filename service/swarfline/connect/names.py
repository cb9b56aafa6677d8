"""Names in the plant file to names on this server: prefixes and URIs to namespace indexes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from asyncua import ua


class Refusal(Exception):
    """A node cannot be had, for the reason given as text."""


class Names:
    """The namespaces of one session. Indexes differ per server and may change with every restart."""

    def __init__(self, prefixes: Mapping[str, str], uris: Sequence[str]) -> None:
        self._prefixes = prefixes
        self._index = {uri: index for index, uri in reversed(list(enumerate(uris)))}
        by_uri = {uri: prefix for prefix, uri in reversed(list(prefixes.items()))}
        self._prefix = {index: by_uri.get(uri, "") for index, uri in enumerate(uris)}

    def index(self, uri: str) -> int:
        """The index of a namespace; raises Refusal when the server does not have it."""
        if uri not in self._index:
            raise Refusal(f"the server has no namespace {uri!r}")
        return self._index[uri]

    def qualified(self, step: str) -> ua.QualifiedName:
        """``prefix:Name`` as a browse name."""
        prefix, colon, name = step.partition(":")
        if not colon or not name or prefix not in self._prefixes:
            raise Refusal(f"{step!r} is no prefix:Name with a known prefix")
        return ua.QualifiedName(name, self.index(self._prefixes[prefix]))

    def path(self, text: str) -> list[ua.QualifiedName]:
        """``prefix:Name/prefix:Name/…`` as browse names."""
        return [self.qualified(step) for step in text.split("/")] if text else []

    def node_id(self, text: str) -> ua.NodeId:
        """``nsu=URI;s=…`` (or i=, g=, b=) as a NodeId."""
        uri, _, identifier = text.removeprefix("nsu=").partition(";")
        index = self.index(uri)
        try:
            return ua.NodeId.from_string(f"ns={index};{identifier}")
        except (ua.UaError, ValueError):
            raise Refusal(f"{text!r} is no NodeId") from None

    def code(self, node: ua.NodeId) -> str:
        """A NodeId as the codes of value tables write it, ``prefix:identifier``."""
        return f"{self._prefix.get(node.NamespaceIndex, '')}:{node.Identifier}"


def is_node_id(text: str) -> bool:
    """True for a NodeId, False for a browse path."""
    return text.startswith("nsu=")
