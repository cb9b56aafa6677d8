"""The walk over an unknown address space: breadth first, bounded in nodes, depth, time, memory; it only reads."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from asyncua import ua

from swarfline.connect.inspection import legible
from swarfline.connect.reasons import status_words
from swarfline.connect.services import Services

MOST_NODES = 100_000
DEEPEST = 40
WALK_S = 600.0
BROWSE_AT_ONCE = 100
REFERENCES_PER_PAGE = 500
"""With the nodes per call this bounds what one answer holds."""
BARREN_PAGES = 3
"""So many pages in a row that show nothing new end the listing of a node."""
NAME_LENGTH = 512
"""Longest browse name by OPC 10000-3, 8.3 (from memory)."""
TEXT_LENGTH = 200
NEVER_ENDS = "its list of references never ends"
_OBJECTS = ua.NodeId(ua.ObjectIds.ObjectsFolder)
_SERVER = ua.NodeId(ua.ObjectIds.Server)
_CLASSES = (int(ua.NodeClass.Object), int(ua.NodeClass.Variable))
_TOO_LARGE = (
    int(ua.StatusCodes.BadResponseTooLarge),
    int(ua.StatusCodes.BadEncodingLimitsExceeded),
    int(ua.StatusCodes.BadTcpMessageTooLarge),
)
_NO_POINTS = int(ua.StatusCodes.BadNoContinuationPoints)

Progress = Callable[[str, int, int | None], None]
"""Hears what is being done, how many are done, and of how many (None: not known)."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where a walk ends at the latest: nodes, steps below Objects, seconds."""

    nodes: int = MOST_NODES
    depth: int = DEEPEST
    walk_s: float = WALK_S


@dataclass(slots=True)
class Place:
    """A node as the walk met it first, which is on a shortest path. ``parent`` counts in the walk's places."""

    node: ua.NodeId
    parent: int
    depth: int
    namespace: int
    name: str
    display: str
    is_variable: bool
    type: ua.NodeId | None


@dataclass(slots=True)
class Trouble:
    """What could not be seen, how often, and one node of it."""

    reason: str
    count: int
    example: str


@dataclass(slots=True)
class Walked:
    """All that was met. ``cut`` says why it is not everything, empty when it is."""

    places: list[Place] = field(default_factory=list)
    troubles: dict[str, Trouble] = field(default_factory=dict)
    cut: str = ""

    def note(self, reason: str, node: str) -> None:
        """Count a trouble; the first of its kind stays as the example."""
        if reason in self.troubles:
            self.troubles[reason].count += 1
        else:
            self.troubles[reason] = Trouble(reason, 1, legible(node))

    def path(self, place: int) -> tuple[int, ...]:
        """The places from the one below Objects to this one."""
        steps = []
        while place > 0:
            steps.append(place)
            place = self.places[place].parent
        return tuple(reversed(steps))


class Walk:
    """One walk. What was met stays in ``walked``, also when the connection breaks."""

    def __init__(self, services: Services, bounds: Bounds, progress: Progress) -> None:
        self._services = services
        self._bounds = bounds
        self._progress = progress
        self._seen = {_OBJECTS, _SERVER}
        self._end_s = asyncio.get_running_loop().time() + bounds.walk_s
        self.walked = Walked([Place(_OBJECTS, -1, 0, 0, "Objects", "Objects", False, None)])

    async def run(self) -> None:
        """Walk until all is met or a bound is reached; raises when the connection does not hold."""
        done, places = 0, self.walked.places
        while done < len(places) and not self._is_over():
            last = min(len(places), done + min(self._services.slices["browse"], BROWSE_AT_ONCE))
            some = [n for n in range(done, last) if self._may_descend(n)]
            if some:
                await self._below(some)
            done = last
            self._progress("nodes", len(places), None)

    def _may_descend(self, n: int) -> bool:
        if self.walked.places[n].depth < self._bounds.depth:
            return True
        self.walked.note(f"lies {self._bounds.depth} steps deep; not looked below", self._name(n))
        return False

    def _is_over(self) -> bool:
        if not self.walked.cut and asyncio.get_running_loop().time() > self._end_s:
            self.walked.cut = f"the walk took longer than {self._bounds.walk_s:g} s"
        return bool(self.walked.cut)

    def _name(self, n: int) -> str:
        return str(self.walked.places[n].node.to_string())

    async def _below(self, some: Sequence[int]) -> None:
        nodes = [self.walked.places[n].node for n in some]
        try:
            results = await self._services.browse(nodes, REFERENCES_PER_PAGE)
        except ua.UaStatusCodeError as problem:
            if problem.code not in _TOO_LARGE:
                raise
            await self._apart(some, problem.code)
            return
        waiting = []
        for n, result in zip(some, results, strict=True):
            # a server with few continuation points gets the rest one by one, when it has some again
            if int(result.StatusCode.value) == _NO_POINTS and len(some) > 1:
                waiting.append(n)
            else:
                await self._take(n, result)
        for n in waiting:
            if not self._is_over():
                await self._below([n])

    async def _apart(self, some: Sequence[int], code: int) -> None:
        if len(some) == 1:
            self.walked.note(status_words(code), self._name(some[0]))
            return
        half = len(some) // 2
        await self._below(some[:half])
        await self._below(some[half:])

    async def _take(self, n: int, result: ua.BrowseResult) -> None:
        """The pages of one node, as far as they bring something."""
        listed: set[ua.NodeId] = set()
        barren, point = 0, result.ContinuationPoint
        try:
            while True:
                point = result.ContinuationPoint
                if not result.StatusCode.is_good():
                    self.walked.note(status_words(int(result.StatusCode.value)), self._name(n))
                    return
                barren = 0 if self._add(n, result.References or (), listed) else barren + 1
                if not point:
                    return
                if self._is_over() or barren >= BARREN_PAGES:
                    break
                result = await self._services.browse_on(point)
            if barren >= BARREN_PAGES:
                self.walked.note(NEVER_ENDS, self._name(n))
            await self._services.release(point)
        except ua.UaStatusCodeError as problem:
            self.walked.note(status_words(problem.code), self._name(n))

    def _add(self, parent: int, references: Sequence[ua.ReferenceDescription], listed: set[ua.NodeId]) -> int:
        """Take what was not met yet; the number of references that this node had not listed before."""
        before = len(listed)
        for reference in references:
            node = self._local(reference)
            if node is None or node in listed:
                continue
            listed.add(node)
            if node in self._seen or int(reference.NodeClass) not in _CLASSES:
                continue
            name = str(reference.BrowseName.Name or "")
            if not 0 < len(name) <= NAME_LENGTH:
                self.walked.note("has no browse name, or one that is too long", node.to_string())
                continue
            if len(self.walked.places) > self._bounds.nodes:
                self.walked.cut = f"the server has more than {self._bounds.nodes} nodes below Objects"
                return len(listed) - before
            self._seen.add(node)
            self.walked.places.append(self._place(parent, node, name, reference))
        return len(listed) - before

    def _place(self, parent: int, node: ua.NodeId, name: str, reference: ua.ReferenceDescription) -> Place:
        display = reference.DisplayName.Text or "" if reference.DisplayName is not None else ""
        return Place(
            node,
            parent,
            self.walked.places[parent].depth + 1,
            int(reference.BrowseName.NamespaceIndex),
            name,
            str(display)[:TEXT_LENGTH],
            int(reference.NodeClass) == int(ua.NodeClass.Variable),
            plain_id(reference.TypeDefinition),
        )

    def _local(self, reference: ua.ReferenceDescription) -> ua.NodeId | None:
        if getattr(reference.NodeId, "ServerIndex", 0):
            self.walked.note("lies on another server", reference.NodeId.to_string())
            return None
        return plain_id(reference.NodeId)


def plain_id(node: Any) -> ua.NodeId | None:
    """A NodeId of this server from an expanded one, None for the null NodeId."""
    if node is None or node.is_null():
        return None
    # without its encoding, so that the same node compares equal however it came
    return ua.NodeId(node.Identifier, node.NamespaceIndex)
