"""Service calls cut to what a server can take: reads, browses, browse paths."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from asyncua import Client, ua
from asyncua.ua.ua_binary import struct_from_binary

from swarfline import clock
from swarfline.connect.stamps import stamp_us
from swarfline.connect.tasks import heed

SLICE = 500
"""Operations per call where the server states no limit."""
MOST_REFERENCES = 100_000
"""Of one node, where all of them are wanted."""
EMPTY_PAGES = 3
_LEAST_SLICE = 1
_NAMESPACES = ua.NodeId(ua.ObjectIds.Server_NamespaceArray)
_SERVER_STATE = ua.NodeId(ua.ObjectIds.Server_ServerStatus_State)
_CURRENT_TIME = ua.NodeId(ua.ObjectIds.Server_ServerStatus_CurrentTime)
_LIMIT_NODES = {
    "read": ua.ObjectIds.Server_ServerCapabilities_OperationLimits_MaxNodesPerRead,
    "browse": ua.ObjectIds.Server_ServerCapabilities_OperationLimits_MaxNodesPerBrowse,
    "translate": ua.ObjectIds.Server_ServerCapabilities_OperationLimits_MaxNodesPerTranslateBrowsePathsToNodeIds,
    "history": ua.ObjectIds.Server_ServerCapabilities_OperationLimits_MaxNodesPerHistoryReadData,
    "monitor": ua.ObjectIds.Server_ServerCapabilities_OperationLimits_MaxMonitoredItemsPerCall,
}
UNDECODABLE = "its value cannot be decoded"
"""Why an item is not watched that takes all others with it."""
_VARIABLE_OR_OBJECT = int(ua.NodeClass.Variable) | int(ua.NodeClass.Object)

T = TypeVar("T")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Probe:
    """An answer to "are you well?": our times around it, the server's state and clock (µs UTC, None unknown)."""

    sent_us: int
    got_us: int
    state: int | None
    current_us: int | None
    header_us: int | None


class Services:
    """The services of one connected client, in slices that honour its limits."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self.slices: dict[str, int] = dict.fromkeys(_LIMIT_NODES, SLICE)
        self.undecodable: set[ua.NodeId] = set()
        """Nodes whose value could not be decoded when it was last read."""

    async def learn(self) -> list[str]:
        """Read the operation limits; the namespace URIs by index."""
        ids = [ua.NodeId(node) for node in _LIMIT_NODES.values()]
        values = [await self._read_one(_NAMESPACES)]
        # one by one where needed: a server that allows one node per read says so here
        try:
            values += await self._client.uaclient.read(_read_request(ids))
        except ua.UaStatusCodeError:
            values += [await self._read_one(node) for node in ids]
        for name, value in zip(_LIMIT_NODES, values[1:], strict=True):
            limit = value.Value.Value if value.StatusCode.is_good() else None
            if isinstance(limit, int) and limit > 0:
                self.slices[name] = min(limit, SLICE)
        uris = values[0].Value.Value
        return [str(uri) for uri in uris] if isinstance(uris, list) else []

    async def _read_one(self, node: ua.NodeId) -> ua.DataValue:
        return (await self._client.uaclient.read(_read_request([node])))[0]

    async def read(
        self, nodes: Sequence[ua.NodeId], attribute: ua.AttributeIds = ua.AttributeIds.Value
    ) -> list[ua.DataValue]:
        """The attribute of each node, statuses and time stamps included.

        What cannot be decoded is found by halves and is BadDecodingError; its nodes are ``undecodable`` until
        they are read well.
        """

        async def call(some: Sequence[ua.NodeId]) -> list[ua.DataValue]:
            try:
                values = list(await self._client.uaclient.read(_read_request(some, attribute)))
            except Exception as problem:
                heed()
                if not _is_of_decoding(problem):
                    raise
                return await apart(some)
            self.undecodable.difference_update(some)
            return values

        async def apart(some: Sequence[ua.NodeId]) -> list[ua.DataValue]:
            if len(some) > 1:
                half = len(some) // 2
                return [*await call(some[:half]), *await call(some[half:])]
            self.undecodable.update(some)
            return [ua.DataValue(StatusCode=ua.StatusCode(ua.StatusCodes.BadDecodingError))]

        return await self.sliced("read", nodes, call)

    async def translate(self, paths: Sequence[ua.BrowsePath]) -> list[ua.NodeId | int]:
        """The node at each browse path, or the status code of the failure."""

        async def call(some: Sequence[ua.BrowsePath]) -> list[ua.BrowsePathResult]:
            return list(await self._client.uaclient.translate_browsepaths_to_nodeids(list(some)))

        return [_target(result) for result in await self.sliced("translate", paths, call)]

    async def children(self, nodes: Sequence[ua.NodeId]) -> list[list[ua.ReferenceDescription]]:
        """The objects and variables below each node (hierarchical references), all pages of them."""

        async def call(some: Sequence[ua.NodeId]) -> list[ua.BrowseResult]:
            wanted = [_browse(node) for node in some]
            return list(await self._client.uaclient.browse(ua.BrowseParameters(NodesToBrowse=wanted)))

        results = await self.sliced("browse", nodes, call)
        return [await self._all_pages(result) for result in results]

    async def _all_pages(self, result: ua.BrowseResult) -> list[ua.ReferenceDescription]:
        """Raises UaError for a list that is too long to be one, or whose pages are empty again and again."""
        found, empty = list(result.References or ()), 0
        while result.ContinuationPoint:
            point = result.ContinuationPoint
            result = await self.browse_on(point)
            found += result.References or ()
            empty = 0 if result.References else empty + 1
            if empty > EMPTY_PAGES or len(found) > MOST_REFERENCES:
                await self.release(point)
                raise ua.UaError("the list of what is below a node never ends")
        return found

    async def browse(self, nodes: Sequence[ua.NodeId], most: int) -> list[ua.BrowseResult]:
        """The first page below each node, with its status: no more than ``most`` references each, if heeded."""

        async def call(some: Sequence[ua.NodeId]) -> list[ua.BrowseResult]:
            wanted = [_browse(node) for node in some]
            asked = ua.BrowseParameters(RequestedMaxReferencesPerNode=most, NodesToBrowse=wanted)
            return list(await self._client.uaclient.browse(asked))

        return await self.sliced("browse", nodes, call)

    async def types_above(self, types: Sequence[ua.NodeId]) -> list[ua.NodeId | None]:
        """The direct supertype of each type, None where the server shows none."""

        async def call(some: Sequence[ua.NodeId]) -> list[ua.BrowseResult]:
            wanted = [_browse_up(node) for node in some]
            return list(await self._client.uaclient.browse(ua.BrowseParameters(NodesToBrowse=wanted)))

        results = await self.sliced("browse", types, call)
        return [_local(r.References[0].NodeId) if r.References else None for r in results]

    async def browse_on(self, point: bytes) -> ua.BrowseResult:
        """The next page at a continuation point."""
        asked = ua.BrowseNextParameters(ReleaseContinuationPoints=False, ContinuationPoints=[point])
        return (await self._client.uaclient.browse_next(asked))[0]

    async def release(self, point: bytes) -> None:
        """Give a continuation point back; servers have few."""
        asked = ua.BrowseNextParameters(ReleaseContinuationPoints=True, ContinuationPoints=[point])
        await self._client.uaclient.browse_next(asked)

    async def sliced(
        self, kind: str, things: Sequence[T], call: Callable[[Sequence[T]], Awaitable[list[R]]]
    ) -> list[R]:
        """Call for every slice of ``things``; halve the slice when the server finds it too long."""
        results: list[R] = []
        while len(results) < len(things):
            some = things[len(results) : len(results) + self.slices[kind]]
            try:
                answers = await call(some)
            except (ua.uaerrors.BadTooManyOperations, ua.uaerrors.BadTooManyMonitoredItems):
                if len(some) <= _LEAST_SLICE:
                    raise
                self.slices[kind] = max(_LEAST_SLICE, len(some) // 2)
                continue
            if len(answers) != len(some):
                raise ua.UaError(f"the server answered {len(answers)} of {len(some)} operations")
            results += answers
        return results

    async def probe(self) -> Probe:
        """Ask for the server's state and time; raises when there is no answer."""
        request = ua.ReadRequest()
        request.Parameters = _read_request([_SERVER_STATE, _CURRENT_TIME])
        sent_us = clock.now_us()
        # the plain call hides the response's header, whose time is the server's clock without its ticks
        data = await self._client.uaclient._send_request(request)
        got_us = clock.now_us()
        response = struct_from_binary(ua.ReadResponse, data)
        response.ResponseHeader.ServiceResult.check()
        state, current = response.Results
        return Probe(
            sent_us,
            got_us,
            state.Value.Value if state.StatusCode.is_good() else None,
            stamp_us(current.Value.Value) if current.StatusCode.is_good() else None,
            stamp_us(response.ResponseHeader.Timestamp),
        )


def _is_of_decoding(problem: Exception) -> bool:
    """Whether an answer came that could not be decoded; bytes can be wrong in any way that Python knows."""
    return not isinstance(problem, ua.UaStatusCodeError | OSError | TimeoutError)


def _read_request(
    nodes: Sequence[ua.NodeId], attribute: ua.AttributeIds = ua.AttributeIds.Value
) -> ua.ReadParameters:
    wanted = [ua.ReadValueId(NodeId=node, AttributeId=attribute) for node in nodes]
    return ua.ReadParameters(TimestampsToReturn=ua.TimestampsToReturn.Both, NodesToRead=wanted)


def _browse(node: ua.NodeId) -> ua.BrowseDescription:
    return ua.BrowseDescription(
        NodeId=node,
        BrowseDirection=ua.BrowseDirection.Forward,
        ReferenceTypeId=ua.NodeId(ua.ObjectIds.HierarchicalReferences),
        IncludeSubtypes=True,
        NodeClassMask=_VARIABLE_OR_OBJECT,
        ResultMask=int(ua.BrowseResultMask.All),
    )


def _browse_up(kind: ua.NodeId) -> ua.BrowseDescription:
    return ua.BrowseDescription(
        NodeId=kind,
        BrowseDirection=ua.BrowseDirection.Inverse,
        ReferenceTypeId=ua.NodeId(ua.ObjectIds.HasSubtype),
        IncludeSubtypes=True,
        NodeClassMask=0,
        ResultMask=int(ua.BrowseResultMask.All),
    )


def _target(result: ua.BrowsePathResult) -> ua.NodeId | int:
    if not result.StatusCode.is_good():
        return int(result.StatusCode.value)
    for target in result.Targets:
        # a path that leaves the server or ends half-way is of no use
        if target.RemainingPathIndex == 0xFFFFFFFF:
            return _local(target.TargetId)
    return int(ua.StatusCodes.BadNoMatch)


def _local(node: Any) -> ua.NodeId:
    return ua.NodeId(node.Identifier, node.NamespaceIndex, node.NodeIdType)


def browse_path(start: ua.NodeId, names: Sequence[ua.QualifiedName]) -> ua.BrowsePath:
    """A path of names below a node, along any hierarchical reference (add-ins and properties included)."""
    steps = [
        ua.RelativePathElement(
            ReferenceTypeId=ua.NodeId(ua.ObjectIds.HierarchicalReferences),
            IsInverse=False,
            IncludeSubtypes=True,
            TargetName=name,
        )
        for name in names
    ]
    return ua.BrowsePath(StartingNode=start, RelativePath=ua.RelativePath(Elements=steps))
