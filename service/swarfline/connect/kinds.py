"""Machines by the types of their objects, whatever they are called and wherever they stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from asyncua import ua

from swarfline.connect.services import Services
from swarfline.connect.sight import Space
from swarfline.connect.surveyed import MachineKind
from swarfline.connect.walk import Walked
from swarfline.plant.addresses import KNOWN_NAMESPACES as URI

MACHINE_TOOL = f"nsu={URI['mt']};i=13"
CNC_INTERFACE = f"nsu={URI['cnc']};i=1007"
CNC_CHANNEL = f"nsu={URI['cnc']};i=1002"
CNC_SPINDLE = f"nsu={URI['cnc']};i=1005"
CHANNEL = f"nsu={URI['mt']};i=16"
SPINDLE = f"nsu={URI['mt']};i=22"
JOB = f"nsu={URI['mt']};i=29"
_MACHINES = f"nsu={URI['mch']};i=1001"
_MACHINE_IDENTIFICATION = f"nsu={URI['mch']};i=1012"
_DEEPEST_TYPE = 30
_ORDER: Mapping[MachineKind, int] = {"machine tool": 0, "machine": 1, "cnc": 2, "folder": 3}

Chains = Mapping[ua.NodeId, tuple[str, ...]]
"""A type and all its supertypes, by type."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that is a machine, and why."""

    place: int
    kind: MachineKind
    reason: str


async def supertypes(services: Services, space: Space) -> Chains:
    """The chain of each object type that the walk met; it ends where the server does not show more."""
    types = {p.type for p in space.walked.places if p.type is not None and not p.is_variable}
    above: dict[ua.NodeId, ua.NodeId | None] = {}
    new = sorted(types, key=str)
    for _ in range(_DEEPEST_TYPE):
        if not new:
            break
        above.update(zip(new, await services.types_above(new), strict=True))
        new = sorted({t for t in above.values() if t is not None and t not in above}, key=str)
    return {kind: tuple(space.node(each) for each in _chain(kind, above)) for kind in types}


def _chain(kind: ua.NodeId, above: Mapping[ua.NodeId, ua.NodeId | None]) -> Iterable[ua.NodeId]:
    met: dict[ua.NodeId, None] = {}
    step: ua.NodeId | None = kind
    while step is not None and step not in met:
        met[step] = None
        step = above.get(step)
    return met


def has_type(space: Space, chains: Chains, place: int, wanted: str) -> bool:
    """True for an object of this type or of a subtype."""
    kind = space.walked.places[place].type
    return kind is not None and wanted in chains.get(kind, ())


def machines_of(space: Space, chains: Chains) -> list[Spot]:
    """Every machine that a standard lets us tell, outermost ones only, each once, in the walk's order."""
    spots: list[Spot] = []
    taken: set[int] = set()
    identified = _identified(space, chains)
    for n, place in enumerate(space.walked.places):
        # a walk is breadth first: what is around a place stands before it
        if place.parent in taken:
            taken.add(n)
            continue
        spot = None if place.is_variable else _spot(space, chains, n, identified)
        if spot is not None:
            spots.append(spot)
            taken.add(n)
    return sorted(spots, key=lambda spot: (_ORDER[spot.kind], spot.place))


def _spot(space: Space, chains: Chains, n: int, identified: Mapping[int, str]) -> Spot | None:
    kind = space.walked.places[n].type
    if has_type(space, chains, n, MACHINE_TOOL):
        is_sub = kind is not None and space.node(kind) != MACHINE_TOOL
        return Spot(n, "machine tool", f"OPC 40501-1: its type is {'a subtype of ' * is_sub}MachineToolType")
    if n in identified:
        return Spot(n, "machine", identified[n])
    if has_type(space, chains, n, CNC_INTERFACE):
        return Spot(n, "cnc", "OPC 40502: its type is CncInterfaceType")
    return None


def _identified(space: Space, chains: Chains) -> dict[int, str]:
    """Objects with a machine's name plate, or with any name plate in the folder Machines."""
    found: dict[int, str] = {}
    places = space.walked.places
    for n, place in enumerate(places):
        if place.name != "Identification" or space.uri(place.namespace) != URI["di"] or place.parent <= 0:
            continue
        if has_type(space, chains, n, _MACHINE_IDENTIFICATION):
            found[place.parent] = "OPC 40001-1: it has the identification of a machine"
        elif space.node(places[max(places[place.parent].parent, 0)].node) == _MACHINES:
            found[place.parent] = "OPC 40001-1: it stands in the folder Machines with an identification"
    return found


def subtree(walked: Walked, roots: Sequence[int]) -> dict[int, int]:
    """The root of every place that lies below one, the roots included; roots do not lie in one another."""
    owner = {root: root for root in roots}
    for n, place in enumerate(walked.places):
        if n not in owner and place.parent in owner:
            owner[n] = owner[place.parent]
    return owner
