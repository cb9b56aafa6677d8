"""A survey's session with an unknown server: endpoints, limits, clock, walk, machines, courses. It only reads."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from asyncua import Client, ua

from swarfline.connect.client import attempt_s, connect, leave, new_client
from swarfline.connect.courses import watch_values
from swarfline.connect.inspection import legible
from swarfline.connect.kinds import Chains, Spot, machines_of, subtree, supertypes
from swarfline.connect.names import Names, Refusal
from swarfline.connect.reasons import plain, status_words
from swarfline.connect.services import Services, browse_path
from swarfline.connect.sight import Sight, Space
from swarfline.connect.sighting import Variable
from swarfline.connect.standards import find_tool_list, propose_standard
from swarfline.connect.supervise import ClockOffset
from swarfline.connect.surveyed import Door, FoundMachine, Namespace, Surveyed
from swarfline.connect.tasks import heed, within
from swarfline.connect.tools import read_tool_list
from swarfline.connect.walk import Bounds, Progress, Trouble, Walk, plain_id
from swarfline.plant.addresses import KNOWN_NAMESPACES
from swarfline.plant.model import Server

PROBES = 3
MOST_DOORS = 50
_LIMITS = {
    "nodes per read": 11705,
    "nodes per browse": 11710,
    "paths per translation": 11712,
    "items per call": 11714,
    "nodes per history read": 12165,
    "continuation points": 2735,
    "sessions": 24095,
    "items per subscription": 24104,
    "queue of an item": 31916,
    "shortest sampling ms": 2272,
}
"""NodeIds of the base model (OPC 10000-5, ServerCapabilities) by what they limit."""
_NAME_PLATE = (KNOWN_NAMESPACES["di"], "Identification")
_CURRENT_STATE = (KNOWN_NAMESPACES["ua"], "CurrentState")
_NAMESPACES_FOLDER = ua.NodeId(ua.ObjectIds.Server_Namespaces)


async def explore(server: Server, plant_path: str, bounds: Bounds, watch_s: float, progress: Progress) -> Surveyed:
    """Survey a server. What it does wrong never raises: ``problem`` tells it, and what was seen until then stays.

    ``plant_path`` is where the plant file will be: approved certificates are looked for beside it.
    ``watch_s``: for how long values that no standard explains are watched; 0 not at all.
    """
    result = Surveyed(server.endpoint)
    door, client, orderly = new_client(server), new_client(server), False
    try:
        async with within(attempt_s(server)):
            endpoints = await door.connect_and_get_server_endpoints()
        result.doors = [_door(each) for each in endpoints[:MOST_DOORS]]
        await connect(client, server, plant_path)
        await _Exploring(client, result, bounds, progress).at(watch_s)
        orderly = True
    except Exception as problem:
        heed()
        result.problem = legible(plain(problem, server.timeout_s))
    finally:
        await leave(door, False)
        await leave(client, orderly)
    return result


def _door(each: ua.EndpointDescription) -> Door:
    policy = legible(str(each.SecurityPolicyUri).rpartition("#")[2])
    tokens = list(each.UserIdentityTokens or ())
    mode = ua.MessageSecurityMode(each.SecurityMode)
    return Door(
        url=legible(each.EndpointUrl),
        policy=policy,
        mode=mode.name.rstrip("_"),
        users=tuple(dict.fromkeys(ua.UserTokenType(token.TokenType).name for token in tokens)),
        is_password_in_clear=mode != ua.MessageSecurityMode.SignAndEncrypt
        and any(_is_in_clear(token, policy) for token in tokens),
    )


def _is_in_clear(token: ua.UserTokenPolicy, policy: str) -> bool:
    """A token without a policy of its own is secured by that of the endpoint (OPC 10000-4, 7.41, from memory)."""
    own = str(token.SecurityPolicyUri or "").rpartition("#")[2] or policy
    return token.TokenType == ua.UserTokenType.UserName and own == "None"


@dataclass(slots=True)
class _Sighted:
    """What is known after the walk and the reading of its variables."""

    space: Space
    names: Names
    variables: Mapping[int, Variable]
    by_node: Mapping[str, Variable]


class _Exploring:
    def __init__(self, client: Client, result: Surveyed, bounds: Bounds, progress: Progress) -> None:
        self._services = Services(client)
        self._result = result
        self._bounds = bounds
        self._progress = progress

    async def at(self, watch_s: float) -> None:
        uris = await self._services.learn()
        await self._limits()
        await self._clock()
        self._result.namespaces = [Namespace(uri) for uri in uris]
        with self._noting("versions of namespaces"):
            await self._namespaces(uris)
        names = Names(KNOWN_NAMESPACES, uris)
        space = await self._walk(uris)
        variables = await Sight(self._services, space, names, self._progress).all()
        self._result.variables = len(variables)
        sighted = _Sighted(space, names, variables, {v.node: v for v in variables.values()})
        await self._machines(sighted)
        await self._watch(sighted, watch_s)

    async def _limits(self) -> None:
        nodes = [ua.NodeId(number) for number in _LIMITS.values()]
        for name, data in zip(_LIMITS, await self._services.read(nodes), strict=True):
            value = data.Value.Value if data.StatusCode.is_good() and data.Value is not None else None
            if isinstance(value, int | float) and value > 0:
                self._result.limits = {**self._result.limits, name: value}

    async def _clock(self) -> None:
        offset = ClockOffset()
        for _ in range(PROBES):
            probe = await self._services.probe()
            offset.add(probe.sent_us, probe.got_us, probe.current_us, probe.header_us)
        self._result.clock_offset_us = offset.offset_us

    async def _namespaces(self, uris: list[str]) -> None:
        """Versions stand in the Server object's own list, below objects that are named by the URI."""
        results = await self._services.browse([_NAMESPACES_FOLDER], len(uris) + 1)
        told = {
            str(each.BrowseName.Name): node
            for each in results[0].References or ()
            if (node := plain_id(each.NodeId)) is not None
        }
        asked = [uri for uri in uris if uri in told]
        paths = [browse_path(told[uri], [ua.QualifiedName("NamespaceVersion", 0)]) for uri in asked]
        nodes = await self._services.translate(paths) if paths else []
        found = {uri: node for uri, node in zip(asked, nodes, strict=True) if isinstance(node, ua.NodeId)}
        values = await self._services.read(list(found.values())) if found else []
        versions = {
            uri: str(data.Value.Value)
            for uri, data in zip(found, values, strict=True)
            if data.StatusCode.is_good() and data.Value is not None and data.Value.Value
        }
        self._result.namespaces = [Namespace(uri, versions.get(uri)) for uri in uris]

    async def _walk(self, uris: list[str]) -> Space:
        walk = Walk(self._services, self._bounds, self._progress)
        try:
            await walk.run()
        finally:
            self._result.nodes = len(walk.walked.places) - 1
            self._result.troubles += walk.walked.troubles.values()
            self._result.cut = walk.walked.cut
        return Space(walk.walked, uris)

    async def _machines(self, sighted: _Sighted) -> None:
        chains = await supertypes(self._services, sighted.space)
        spots = machines_of(sighted.space, chains)
        owner = subtree(sighted.space.walked, [spot.place for spot in spots])
        members: dict[int, list[int]] = {spot.place: [] for spot in spots}
        for n, root in owner.items():
            members[root].append(n)
        for done, spot in enumerate(spots, start=1):
            self._result.machines.append(await self._machine(sighted, chains, spot, members[spot.place]))
            self._progress("machines", done, len(spots))
        self._result.loose = [v for n, v in sighted.variables.items() if n not in owner]

    async def _machine(self, sighted: _Sighted, chains: Chains, spot: Spot, members: list[int]) -> FoundMachine:
        space = sighted.space
        place = space.walked.places[spot.place]
        machine = FoundMachine(
            place.name, spot.kind, spot.reason, space.node(place.node), space.path(spot.place)
        )  # fmt: skip
        with self._noting(f"paths of {place.name}"):
            machine.proposals = await propose_standard(
                self._services, space, chains, spot.place, members, sighted.by_node
            )
        with self._noting(f"tools of {place.name}"):
            tools = await find_tool_list(self._services, space, spot.place)
            if tools is not None:
                machine.tools = len((await read_tool_list(self._services, sighted.names, tools[1])).tools)
                machine.tool_list = tools[0]
        named = {node for p in machine.proposals for node in (p.variable.node, *p.rivals)}
        mine = [sighted.variables[n] for n in members if n in sighted.variables]
        machine.others = [v for v in mine if v.node not in named and not _is_in(v, machine)]
        return machine

    @contextlib.contextmanager
    def _noting(self, what: str) -> Iterator[None]:
        """What a server refuses as a whole is told as one trouble more; the survey goes on without it."""
        try:
            yield
        except (Refusal, ua.UaError) as problem:
            reason = status_words(problem.code) if isinstance(problem, ua.UaStatusCodeError) else str(problem)
            self._result.troubles.append(Trouble(legible(reason), 1, legible(what)))

    async def _watch(self, sighted: _Sighted, watch_s: float) -> None:
        """Only what no standard explains: the rest needs no guess."""
        open_ = [*self._result.loose, *(v for machine in self._result.machines for v in machine.others)]
        wanted = {v.node for v in open_ if v.quality != "bad"}
        if watch_s <= 0 or not wanted:
            return
        nodes = {
            v.node: sighted.space.walked.places[n].node for n, v in sighted.variables.items() if v.node in wanted
        }
        self._result.courses = await watch_values(self._services, sighted.names, nodes, watch_s, self._progress)


def _is_in(variable: Variable, machine: FoundMachine) -> bool:
    """True for what needs no second look: name plate, tool list, the other forms of a state."""
    below = variable.path[len(machine.path) :]
    if below[:1] == (_NAME_PLATE,) or _CURRENT_STATE in below:
        return True
    return machine.tool_list is not None and below[: len(machine.tool_list)] == machine.tool_list
