"""Namespaces of the companion specifications that the server shows, by short prefix."""

from __future__ import annotations

from collections.abc import Mapping

from asyncua import ua

URIS: Mapping[str, str] = {
    "di": "http://opcfoundation.org/UA/DI/",
    "mch": "http://opcfoundation.org/UA/Machinery/",
    "mt": "http://opcfoundation.org/UA/MachineTool/",
    "cnc": "http://opcfoundation.org/UA/CNC",
    "en": "http://opcfoundation.org/UA/Machinery/Energy/",
    "ecm": "http://opcfoundation.org/UA/ECM/",
    "sim": "urn:swarfline:simulator",
}


class Namespaces:
    """Turns ``prefix:Name`` into names and NodeIds of one server. ``indexes``: prefix to namespace index."""

    def __init__(self, indexes: Mapping[str, int]) -> None:
        self._indexes = {"ua": 0, **indexes}

    def name(self, text: str) -> ua.QualifiedName:
        """``prefix:Name`` as a qualified name."""
        prefix, _, name = text.partition(":")
        return ua.QualifiedName(ua.String(name), ua.Int16(self._indexes[prefix]))

    def number(self, prefix: str, identifier: int) -> ua.NodeId:
        """A numeric NodeId in the namespace of a prefix."""
        return ua.NodeId(ua.Int32(identifier), ua.Int16(self._indexes[prefix]))

    def own(self, path: str) -> ua.NodeId:
        """A NodeId of our own namespace."""
        return ua.NodeId(ua.String(path), ua.Int16(self._indexes["sim"]))


def standard(identifier: int) -> ua.NodeId:
    """A NodeId of the OPC UA namespace."""
    return ua.NodeId(ua.Int32(identifier))
