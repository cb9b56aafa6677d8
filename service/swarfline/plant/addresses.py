"""Where nodes are: namespace prefixes, and the check of browse paths and NodeIds in a plant file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType

from swarfline.plant.model import NodeRef, Plant, ToolMapping
from swarfline.plant.wording import unknown

KNOWN_NAMESPACES: Mapping[str, str] = MappingProxyType(
    {
        "ua": "http://opcfoundation.org/UA/",
        "di": "http://opcfoundation.org/UA/DI/",
        "ia": "http://opcfoundation.org/UA/IA/",
        "mch": "http://opcfoundation.org/UA/Machinery/",
        "jc": "http://opcfoundation.org/UA/ISA95-JOBCONTROL_V2/",
        "job": "http://opcfoundation.org/UA/Machinery/Jobs/",
        "mt": "http://opcfoundation.org/UA/MachineTool/",
        "pv": "http://opcfoundation.org/UA/Machinery/ProcessValues/",
        "res": "http://opcfoundation.org/UA/Machinery/Result/",
        "cnc": "http://opcfoundation.org/UA/CNC",
        "en": "http://opcfoundation.org/UA/Machinery/Energy/",
        "ecm": "http://opcfoundation.org/UA/ECM/",
    }
)
"""Prefixes that need no [namespaces] entry: the companion specifications."""

_GUID = r"[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}"
_NODE_ID = re.compile(rf"nsu=[^;]+;(?:i=\d{{1,10}}|s=.+|g={_GUID}|b=[A-Za-z0-9+/]+={{0,2}})")
_BARE = re.compile(r"(?:ns=|[isgb]=)")

Entry = tuple[str, str, str]
"""(table as the messages name it, key, address)"""


def namespaces(plant: Plant) -> dict[str, str]:
    """Namespace URI by prefix, the well-known ones included."""
    return {**KNOWN_NAMESPACES, **plant.namespaces}


def address_errors(plant: Plant) -> Iterator[str]:
    """One line per address that cannot be used, in the file's order."""
    prefixes = namespaces(plant)
    for where, key, address in _entries(plant):
        for problem in dict.fromkeys(_problems(address, prefixes)):
            yield f"{where}: key {key!r} = {address!r}: {problem}"


def _entries(plant: Plant) -> Iterator[Entry]:
    for name, mapping in plant.mappings.items():
        yield from _nodes(f"[mappings.{name}.signals]", mapping.signals.items())
        yield from _tools(f"[mappings.{name}.tools", mapping.tools)
    for machine in plant.machines:
        where = f"[[servers.machines]] {machine.id!r}"
        if machine.root:
            yield where, "root", machine.root
        yield from _nodes(f"{where} signals", machine.signals.items())
        if machine.tools is not None:
            yield from _tools(f"{where} [tools", machine.tools)


def _nodes(where: str, nodes: Iterable[tuple[str, NodeRef]]) -> Iterator[Entry]:
    for key, ref in nodes:
        yield where, key, ref.node


def _tools(where: str, tools: ToolMapping) -> Iterator[Entry]:
    if tools.objects is not None:
        yield f"{where}]", "objects", tools.objects
    for place, fields in tools.each.items():
        yield from _nodes(f"{where}.each.{place}]", fields.items())


def _problems(address: str, prefixes: Mapping[str, str]) -> Iterator[str]:
    if address.startswith("nsu="):
        if not _NODE_ID.fullmatch(address):
            yield "not a NodeId; write nsu=URI; followed by i=number, s=text, g=GUID or b=base64"
    elif _BARE.match(address):
        yield (
            "namespace indexes change when a server restarts; write the namespace's URI (nsu=URI;s=…) or a "
            "browse path"
        )
    else:
        for step in address.split("/"):
            yield from _step_problems(step, prefixes)


def _step_problems(step: str, prefixes: Mapping[str, str]) -> Iterator[str]:
    prefix, colon, name = step.partition(":")
    if not colon or not name:
        yield f"step {step!r} of the browse path must be written prefix:Name, as in 'mt:Monitoring'"
    elif prefix not in prefixes:
        yield f"{unknown('namespace prefix', prefix, prefixes)} ([namespaces] gives prefixes their URIs)"
