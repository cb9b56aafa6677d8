"""Proposals for machines that follow a companion specification: each path proved by the server itself.

Paths: OPC 40501-1 1.00 to 1.02 (MachineTool), OPC 40001-1 1.04 (Machinery), OPC 40502 1.00 (CNC), OPC 40001-4 with
OPC 34100 (electrical energy). Where a version gives a signal another place, both are here, the newer one first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from asyncua import ua

from swarfline.connect.kinds import CHANNEL, CNC_CHANNEL, CNC_SPINDLE, JOB, SPINDLE, Chains, has_type
from swarfline.connect.services import Services, browse_path
from swarfline.connect.sight import Space
from swarfline.connect.sighting import Proposal, Sureness, Variable
from swarfline.plant.addresses import KNOWN_NAMESPACES as URI
from swarfline.signals import SIGNALS, Kind

Steps = tuple[tuple[str, str], ...]

_SPECIFICATIONS = {"mt": "OPC 40501-1", "mch": "OPC 40001-1", "cnc": "OPC 40502", "ecm": "OPC 40001-4"}
_MONITORING = "mt:Monitoring/mt:MachineTool"
_BLOCKS = "mch:MachineryBuildingBlocks"
_MAIN = "mch:Monitoring/mch:Consumption/en:Electricity/en:Main"
_PROGRAM = "mt:Production/mt:ActiveProgram"
_FIXED: Mapping[str, tuple[str, ...]] = {
    "state": (
        f"{_MONITORING}/mch:MachineryItemState/ua:CurrentState/ua:Number",
        f"{_BLOCKS}/mch:MachineryItemState/ua:CurrentState/ua:Number",
        f"{_MONITORING}/mch:MachineryItemState/ua:CurrentState/ua:Id",
        f"{_BLOCKS}/mch:MachineryItemState/ua:CurrentState/ua:Id",
    ),
    "mode": (
        f"{_MONITORING}/mt:OperationMode",
        f"{_MONITORING}/mch:MachineryOperationMode/ua:CurrentState/ua:Id",
        f"{_BLOCKS}/mch:MachineryOperationMode/ua:CurrentState/ua:Id",
    ),
    "program": (f"{_PROGRAM}/mt:Name",),
    "program_state": (
        f"{_PROGRAM}/mt:State/ua:CurrentState/ua:Number",
        f"{_PROGRAM}/mt:State/ua:CurrentState/ua:Id",
    ),
    "part_count": (
        f"{_MONITORING}/di:OperationCounters/mt:PartsProducedInLifetime",
        f"{_BLOCKS}/di:OperationCounters/mt:PartsProducedInLifetime",
        "mt:Production/mt:Statistics/mt:PartsProducedInLifetime",
    ),
    "feed_override": (f"{_MONITORING}/mt:FeedOverride",),
    "power": (f"{_MAIN}/ecm:AcActivePowerTotal", f"{_BLOCKS}/{_MAIN}/ecm:AcActivePowerTotal"),
    "energy": tuple(
        f"{place}/ecm:AcActiveEnergyTotalImport{profile}"
        for profile in ("Hp", "Lp")
        for place in (_MAIN, f"{_BLOCKS}/{_MAIN}")
    ),
}
_ENERGY_UNITS = {"power": "W", "energy": "Wh"}
"""By OPC 34100, for nodes that do not say it."""


@dataclass(frozen=True, slots=True)
class Part:
    """A signal of an object that is found by its type: below which step, and what codes mean."""

    type: str
    signal: str
    path: str
    what: str
    sureness: Sureness = "sure"
    values: Mapping[str, str | bool] | None = None


_PARTS = (
    Part(CHANNEL, "executing", "mt:ChannelState", "channel", "likely", {"0": True, "1": False, "2": False}),
    Part(CHANNEL, "feed_override", "mt:FeedOverride", "channel"),
    Part(CHANNEL, "rapid_override", "mt:RapidOverride", "channel"),
    Part(CNC_CHANNEL, "active_tool", "cnc:ToolId", "channel"),
    Part(CNC_CHANNEL, "feed_hold", "cnc:FeedHold", "channel"),
    Part(CNC_CHANNEL, "feed_rate", "cnc:ActFeedrate", "channel"),
    Part(CNC_CHANNEL, "feed_override", "cnc:ActOverride", "channel"),
    Part(CNC_CHANNEL, "program", "cnc:ActMainProgramName", "channel"),
    Part(
        CNC_CHANNEL, "program_state", "cnc:ActProgramStatus", "channel", "likely",
        {"0": "ready", "1": "running", "2": "interrupted", "3": "interrupted", "4": "aborted"},
    ),
    Part(CNC_CHANNEL, "executing", "cnc:ActStatus", "channel", "likely", {"0": True, "1": False, "2": False}),
    Part(
        CNC_CHANNEL, "mode", "cnc:ActOperationMode", "channel", "sure",
        {"0": "manual", "1": "mdi", "2": "automatic"},
    ),
    Part(SPINDLE, "spindle_override", "mt:Override", "spindle"),
    Part(CNC_SPINDLE, "spindle_speed", "cnc:ActSpeed", "spindle"),
    Part(CNC_SPINDLE, "spindle_load", "cnc:ActLoad", "spindle"),
    Part(CNC_SPINDLE, "spindle_override", "cnc:ActOverride", "spindle"),
    Part(JOB, "lot", "mt:Identifier", "job", "likely"),
    Part(JOB, "lot_size", "mt:RunsPlanned", "job", "likely"),
)  # fmt: skip
"""In the order of preference, after the fixed paths."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    signal: str
    steps: Steps
    reason: str
    sureness: Sureness = "sure"
    what: str = ""
    rank: int = 0
    values: Mapping[str, str | bool] | None = None


async def propose_standard(
    services: Services,
    space: Space,
    chains: Chains,
    root: int,
    members: Sequence[int],
    seen: Mapping[str, Variable],
) -> list[Proposal]:
    """Proposals for the machine at the place ``root``; ``members`` are the places below it."""
    wanted = [*_fixed(), *_by_type(space, chains, root, members)]
    start = space.walked.places[root].node
    above = space.path(root)
    by_signal: dict[str, list[tuple[_Candidate, Variable]]] = {}
    for candidate, node in zip(wanted, await _prove(services, space, start, wanted), strict=True):
        if node is not None:
            text = space.node(node)
            # the path that was proved, in place of the shortest one, which another version may not have
            variable = replace(seen.get(text, Variable(text, ())), path=(*above, *candidate.steps))
            by_signal.setdefault(candidate.signal, []).append((candidate, variable))
    if "state" in by_signal:
        by_signal.pop("executing", None)
    return [_proposal(found) for _, found in sorted(by_signal.items(), key=lambda item: _order(item[0]))]


async def find_tool_list(services: Services, space: Space, root: int) -> tuple[Steps, ua.NodeId] | None:
    """The OPC 40501-1 tool list of a machine, with its path below it; None where there is none."""
    candidate = _Candidate("tools", steps_of("mt:Equipment/mt:Tools"), "")
    node = (await _prove(services, space, space.walked.places[root].node, [candidate]))[0]
    return None if node is None else (candidate.steps, node)


def steps_of(path: str) -> Steps:
    """``mt:Name/…`` as (namespace URI, name) steps."""
    pairs = (step.split(":", 1) for step in path.split("/"))
    return tuple((URI[prefix], name) for prefix, name in pairs)


def _order(signal: str) -> int:
    return list(SIGNALS).index(signal)


def _fixed() -> Iterator[_Candidate]:
    for signal, paths in _FIXED.items():
        for rank, path in enumerate(paths):
            steps = steps_of(path)
            yield _Candidate(signal, steps, _reason(steps, path), rank=rank)


def _reason(steps: Steps, path: str) -> str:
    names = "/".join(name for uri, name in steps if uri != URI["ua"])
    # the last step of a specification of its own says which one it is
    prefix = next(p for step in reversed(path.split("/")) if (p := step.split(":", 1)[0]) in _SPECIFICATIONS)
    return f"{_SPECIFICATIONS[prefix]}: {names}"


def _by_type(space: Space, chains: Chains, root: int, members: Sequence[int]) -> Iterator[_Candidate]:
    depth = len(space.path(root))
    for rank, part in enumerate(_PARTS, start=len(_FIXED)):
        for n in members:
            if has_type(space, chains, n, part.type):
                steps = (*space.path(n)[depth:], *steps_of(part.path))
                reason = _reason(steps_of(part.path), part.path) + f" of the {part.what} {space.path(n)[-1][1]}"
                yield _Candidate(part.signal, steps, reason, part.sureness, part.what, rank, part.values)


async def _prove(
    services: Services, space: Space, start: ua.NodeId, wanted: Sequence[_Candidate]
) -> list[ua.NodeId | None]:
    """The node at each path below a machine, as the server resolves it; None where there is none."""
    index = {uri: n for n, uri in reversed(list(enumerate(space.uris)))}
    paths = {
        n: browse_path(start, [ua.QualifiedName(name, index[uri]) for uri, name in candidate.steps])
        for n, candidate in enumerate(wanted)
        if all(uri in index for uri, _ in candidate.steps)
    }
    found = dict(zip(paths, await services.translate(list(paths.values())), strict=True))
    return [node if isinstance(node := found.get(n), ua.NodeId) else None for n in range(len(wanted))]


def _proposal(found: Sequence[tuple[_Candidate, Variable]]) -> Proposal:
    """The first that can be read; the rest are rivals, a question only where they are of the same kind."""
    ranked = sorted(found, key=lambda pair: (pair[1].quality == "bad", pair[0].rank))
    best, variable = ranked[0]
    rivals = tuple(dict.fromkeys(v.node for _, v in ranked[1:] if v.node != variable.node))
    alike = {v.node for c, v in ranked if c.rank == best.rank and c.what}
    question = f"which {best.what} is meant? There are {len(alike)}" if len(alike) > 1 else ""
    kind = SIGNALS[best.signal].kind
    unit = _ENERGY_UNITS.get(best.signal) if variable.unit is None else None
    unread = "; it could not be read just now" if variable.quality == "bad" else ""
    return Proposal(
        signal=best.signal,
        variable=variable,
        sureness="guess" if question else best.sureness,
        reason=best.reason + unread,
        question=question,
        rivals=rivals,
        unit=unit,
        width=variable.width if kind is Kind.COUNTER else None,
        values=best.values,
    )
