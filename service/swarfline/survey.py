"""A survey as data and as text: what a server is, its machines, what is proposed, what is missing."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, replace

from swarfline.capability import Ability, abilities
from swarfline.connect import explore, legible, ranking
from swarfline.connect.sighting import Course, Proposal, Variable
from swarfline.connect.surveyed import Door, FoundMachine, Surveyed
from swarfline.connect.walk import Bounds, Progress
from swarfline.plant.model import Server
from swarfline.signals import TOOL_FIELDS, split_tool_signal, tool_signal

Propose = Callable[[Sequence[Variable], Mapping[str, Course]], list[Proposal]]
"""Finds signals among variables that no standard explains."""

LEAST_TOGETHER = 3
"""So many variables in a folder are taken for a machine."""
MOST_OTHERS = 40
LONGEST_QUESTION = 300


async def survey(
    server: Server,
    plant_path: str,
    bounds: Bounds,
    watch_s: float,
    progress: Progress,
    propose: Propose = ranking.propose,
) -> Surveyed:
    """Explore a server, and look for what the standards did not give among the other variables. Never raises.

    ``plant_path`` is where the plant file is to be; what was approved of secured servers is kept beside it.
    """
    seen = await explore(server, plant_path, bounds, watch_s, progress)
    seen.machines += folders(seen)
    for machine in seen.machines:
        complete(machine, seen.courses, propose)
    agree(seen.machines)
    return seen


def complete(machine: FoundMachine, courses: Mapping[str, Course], propose: Propose) -> None:
    """Add proposals for signals that have none yet; the variables they name are no longer others.

    What its name alone does not tell is looked at once more with the name of its folder: Alarm/Active.
    """
    _add(machine, propose(machine.others, courses))
    original = {variable.node: variable for variable in machine.others}
    within = [replace(v, display=" ".join(name for _, name in v.path[-2:])) for v in machine.others]
    _add(machine, [_in_folder(p, original[p.variable.node]) for p in propose(within, courses)])
    machine.proposals = [_settled(proposal, machine) for proposal in machine.proposals]


def _in_folder(proposal: Proposal, variable: Variable) -> Proposal:
    folder = variable.path[-2][1] if len(variable.path) > 1 else ""
    return replace(proposal, variable=variable, reason=f"in {folder[:60]!r} {proposal.reason}")


def _add(machine: FoundMachine, proposals: Sequence[Proposal]) -> None:
    known = {proposal.signal for proposal in machine.proposals}
    known |= {"executing"} if "state" in known else set()
    has_list = machine.tool_list is not None
    found = {p.signal: p for p in reversed(proposals) if not (has_list and split_tool_signal(p.signal))}
    new = [p for p in reversed(found.values()) if p.signal not in known]
    named = {p.variable.node for p in new}
    machine.proposals += new
    machine.others = [v for v in machine.others if v.node not in named]


def _settled(proposal: Proposal, machine: FoundMachine) -> Proposal:
    """In what a life is counted needs no question where the tool has a node that tells it."""
    tool = split_tool_signal(proposal.signal)
    if tool is None or tool[1] not in ("used", "remaining") or proposal.sureness == "guess":
        return proposal
    is_told = any(p.signal == tool_signal(tool[0], "life_basis") for p in machine.proposals)
    return replace(proposal, question="") if is_told else proposal


def agree(machines: Sequence[FoundMachine]) -> None:
    """Machines whose nodes are called alike have the same codes: what one showed most of stands for all.

    What only the others showed is left to the person, who is told of it.
    """
    alike: dict[tuple[str, str], list[tuple[FoundMachine, int]]] = defaultdict(list)
    for machine in machines:
        for n, proposal in enumerate(machine.proposals):
            if proposal.values and proposal.question and not proposal.variable.texts:
                name = proposal.variable.name.removeprefix(machine.name)
                alike[proposal.signal, name].append((machine, n))
    for places in alike.values():
        tables = [machine.proposals[n].values or {} for machine, n in places]
        best, codes = dict(sorted(max(tables, key=len).items())), sorted({c for table in tables for c in table})
        for machine, n in places:
            asked = f"which code means what? Seen on machines like this: {', '.join(codes)}"
            machine.proposals[n] = replace(machine.proposals[n], values=best, question=asked)


def folders(seen: Surveyed) -> list[FoundMachine]:
    """Loose variables that lie together, as machines; what lies below another one's folder belongs to it."""
    together: dict[tuple[tuple[str, str], ...], list[Variable]] = defaultdict(list)
    for variable in sorted(seen.loose, key=lambda v: len(v.path)):
        above = [variable.path[:n] for n in range(1, len(variable.path))]
        together[next((path for path in above if path in together), variable.path[:-1])].append(variable)
    found = [
        machine
        for path, some in together.items()
        if path and len(some) >= LEAST_TOGETHER
        for machine in _apart(path, some)
    ]
    taken = {v.node for machine in found for v in machine.others}
    seen.loose = [v for v in seen.loose if v.node not in taken]
    return found


def _apart(path: tuple[tuple[str, str], ...], some: Sequence[Variable]) -> Iterator[FoundMachine]:
    """The machines of a folder, told apart by what their names begin with; else one."""
    for group in ranking.group_machines(some):
        reason = f"{len(group.variables)} variables stand together"
        if group.name:
            reason = f"{len(group.variables)} variables in {path[-1][1]!r} begin with {group.name!r}"
        yield FoundMachine(group.name or path[-1][1], "folder", reason, "", path, others=list(group.variables))


def signals_of(machine: FoundMachine) -> list[str]:
    """The signals that are proposed, tool fields as ``tools.FIELD``."""
    parts = [(p.signal, split_tool_signal(p.signal)) for p in machine.proposals]
    names = [signal if tool is None else f"tools.{tool[1]}" for signal, tool in parts]
    if machine.tool_list is not None:
        names += [f"tools.{field}" for field in TOOL_FIELDS]
    return list(dict.fromkeys(names))


def missing(machine: FoundMachine) -> list[Ability]:
    """The families of figures that cannot be told with what is proposed."""
    return [ability for ability in abilities(signals_of(machine)) if not ability.can]


def missing_line(ability: Ability) -> str:
    """What would have to be found, and what it costs."""
    lost = f"{ability.family}: {', '.join(ability.figures)}"
    return f"{'; '.join(ability.missing)} → no {lost}" + (f" ({ability.without})" if ability.without else "")


def as_json_text(seen: Surveyed) -> str:
    """For a program: all that was seen and proposed; paths as lists of [namespace URI, browse name]."""
    machines = [
        {**asdict(machine), "missing": [asdict(ability) for ability in missing(machine)]}
        for machine in seen.machines
    ]
    return json.dumps({"ok": seen.is_whole, **asdict(seen), "machines": machines})


def as_text(seen: Surveyed) -> str:
    """For a person."""
    return "\n".join([*_server(seen), *(line for m in seen.machines for line in ("", *_machine(m))), *_end(seen)])


def _server(seen: Surveyed) -> Iterator[str]:
    yield f"server {legible(seen.endpoint)}"
    for door in seen.doors:
        yield f"  endpoint   {door_line(door)}"
    if seen.clock_offset_us is not None:
        yield f"  clock      {seen.clock_offset_us / 1e6:+.3f} s against ours"
    if seen.limits:
        yield "  limits     " + ", ".join(f"{name} {limit:g}" for name, limit in seen.limits.items())
    for n, namespace in enumerate(seen.namespaces):
        version = f" ({legible(namespace.version)})" if namespace.version else ""
        yield f"  namespace  {n} {legible(namespace.uri)}{version}"
    if seen.nodes:
        yield f"  nodes      {seen.nodes}, {seen.variables} variables that may be signals"
    for trouble in seen.troubles:
        yield f"  not seen   {trouble.count} × {trouble.reason}, as {trouble.example}"


def door_line(door: Door) -> str:
    """Security of an endpoint and who may come in, with the warning where a password would be readable."""
    users = ", ".join(door.users) or "nobody"
    warning = "; a password would go over the network in clear" if door.is_password_in_clear else ""
    security = door.policy if door.policy == "None" else f"{door.policy} {door.mode}"
    return f"{security}  {door.url}  for {users}{warning}"


def _machine(machine: FoundMachine) -> Iterator[str]:
    yield f"machine {legible(machine.name)} ({machine.kind}): {legible(machine.reason)}"
    for proposal, pots in _rows(machine.proposals):
        yield f"  {proposal_line(proposal, pots)}"
    if machine.tool_list is not None:
        place = "/".join(name for _, name in machine.tool_list)
        yield f"  {'tools':18} sure    {machine.tools} tools  OPC 40501-1: {place}"
    for ability in missing(machine):
        yield f"  missing: {missing_line(ability)}"
    if machine.others:
        yield f"  {len(machine.others)} other variable(s):"
        yield from (f"    {variable_line(v)}" for v in machine.others[:MOST_OTHERS])
    if len(machine.others) > MOST_OTHERS:
        yield f"    … {len(machine.others) - MOST_OTHERS} more; --json has them all"


def _rows(proposals: Sequence[Proposal]) -> list[tuple[Proposal, int]]:
    """Each proposal; fields of tools that come from one array, or are called alike, once with their number."""
    rows: dict[str, list[Proposal]] = {}
    for proposal in proposals:
        tool = split_tool_signal(proposal.signal)
        rows.setdefault(proposal.signal if tool is None else f"tools.{tool[1]}", []).append(proposal)
    return [(some[0], len(some)) for some in rows.values()]


def proposal_line(proposal: Proposal, pots: int = 1) -> str:
    """Signal, sureness, value now, reason, and what is open; ``pots`` is the number of tools that have it."""
    tool = split_tool_signal(proposal.signal)
    name = proposal.signal if tool is None else f"tools.{tool[1]}"
    unit = proposal.unit or proposal.variable.unit
    value = f"{pots} tools" if tool is not None else value_text(proposal.variable)
    value = f"{value} {legible(unit)}" if unit and tool is None else value
    question = f"  YOUR DECISION: {legible(proposal.question, LONGEST_QUESTION)}" if proposal.question else ""
    return f"{name:18} {proposal.sureness:7} {value:20} {legible(proposal.reason, LONGEST_QUESTION)}{question}"


def variable_line(variable: Variable) -> str:
    """Where a variable is, and what it is now."""
    place = legible("/".join(name for _, name in variable.path))
    unit = f" {legible(variable.unit)}" if variable.unit else ""
    return f"{place}  {value_text(variable)}{unit}  {variable.type or 'unknown type'}"


def value_text(variable: Variable) -> str:
    """The value as it was read, short; lists by their length."""
    if variable.quality == "bad":
        return "not readable"
    if variable.length is not None:
        return f"{variable.length} elements"
    text = f"{variable.value:g}" if isinstance(variable.value, float) else str(variable.value)
    return "unknown" if variable.value is None else legible(text) or "empty"


def _end(seen: Surveyed) -> Iterator[str]:
    yield ""
    yield f"{len(seen.machines)} machine(s), {sum(len(m.proposals) for m in seen.machines)} proposal(s)"
    if seen.cut:
        yield f"not everything was seen: {seen.cut}; give a higher bound, or take what is here"
    if seen.problem:
        yield f"ended early: {seen.problem}"
