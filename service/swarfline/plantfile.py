"""A survey as a plant file: every line proved usable, what a person has to decide marked as such.

Texts of a server stand in it only as escaped strings and as legible comments.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from swarfline.connect import legible
from swarfline.connect.sighting import Proposal, Variable
from swarfline.connect.surveyed import FoundMachine, Surveyed
from swarfline.plant import PlantError
from swarfline.plant.addresses import KNOWN_NAMESPACES
from swarfline.plant.load import check
from swarfline.plant.model import Server
from swarfline.signals import split_tool_signal

DECISION = "YOUR DECISION"
LONGEST_ADDRESS = 200
LONGEST_ID = 40
_NOT_PREFIX = re.compile(r"[^a-z0-9]+")
_NOT_ID = re.compile(r"[^A-Za-z0-9_.-]+")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}

_STATES = {"state", "executing"}
_PROGRESS = {"part_count", "cycle_count", "program_state"}

Steps = Sequence[tuple[str, str]]


def text_of(value: str) -> str:
    """A TOML basic string; what is no printable character is escaped by number (TOML 1.0)."""
    return '"' + "".join(_escaped(c) for c in value) + '"'


def _escaped(character: str) -> str:
    if character in _ESCAPES:
        return _ESCAPES[character]
    if character.isprintable():
        return character
    number = ord(character)
    # a lone half of a pair is no character, and TOML has no way to write it
    if 0xD800 <= number < 0xE000:
        return "�"
    return f"\\u{number:04X}" if number < 0x10000 else f"\\U{number:08X}"


def key_of(name: str) -> str:
    """A TOML key, quoted where it has to be."""
    return name if _BARE_KEY.fullmatch(name) else text_of(name)


class Addresses:
    """Writes nodes as the plant file does; ``used`` are the prefixes that it needs besides the known ones."""

    def __init__(self, uris: Sequence[str]) -> None:
        self._prefix = {uri: prefix for prefix, uri in KNOWN_NAMESPACES.items()}
        for uri in uris:
            self._prefix.setdefault(uri, self._new_prefix(uri))
        self.used: dict[str, str] = {}

    def _new_prefix(self, uri: str) -> str:
        taken = set(self._prefix.values())
        last = _NOT_PREFIX.sub("", re.split(r"[/:.#]", uri.rstrip("/"))[-1].lower())[:12]
        stem = last if last[:1].isalpha() else f"n{last}"
        names = (f"{stem}{n or ''}" for n in range(len(taken) + 1))
        return next(name for name in names if name not in taken)

    def path(self, steps: Steps) -> str | None:
        """A browse path, None where one cannot be written."""
        if not steps or any("/" in name or uri not in self._prefix for uri, name in steps):
            return None
        prefixes = {self._prefix[uri]: uri for uri, _ in steps}
        address = "/".join(f"{self._prefix[uri]}:{name}" for uri, name in steps)
        if not _is_accepted(address, prefixes):
            return None
        self.used.update({p: uri for p, uri in prefixes.items() if p not in KNOWN_NAMESPACES})
        return address

    def node(self, variable: Variable, root: Steps) -> str | None:
        """Below the machine by its path, elsewhere by NodeId; None where neither can be written."""
        below = tuple(variable.path[len(root) :]) if tuple(variable.path[: len(root)]) == tuple(root) else ()
        return self.path(below) or (variable.node if _is_accepted(variable.node, {}) else None)


def _is_accepted(address: str, prefixes: Mapping[str, str]) -> bool:
    """Asked of the plant file's own check, so that the two cannot differ."""
    machine = {"id": "m", "signals": {"state": address, "part_count": "ua:Count"}}
    raw = {
        "plant": {"name": "p", "time_zone": "UTC"},
        "namespaces": {p: uri for p, uri in prefixes.items() if p not in KNOWN_NAMESPACES},
        "servers": [{"id": "s", "endpoint": "opc.tcp://localhost:4840", "machines": [machine]}],
    }
    try:
        check(raw, "")
    except PlantError:
        return False
    return len(address) <= LONGEST_ADDRESS


def compose(seen: Surveyed, server: Server, missing: Mapping[str, Sequence[str]]) -> str:
    """The plant file; ``missing`` are lines on what each machine lacks, by machine_key.

    ``server`` is how it was connected to, which stands in the file as well, without any secret.
    """
    addresses = Addresses([namespace.uri for namespace in seen.namespaces])
    servers = list(_servers(seen, server, addresses, missing))
    lines = [*_head(seen), *_decisions(seen), *_namespaces(addresses), *servers]
    return "\n".join(lines) + "\n"


def machine_key(machine: FoundMachine) -> str:
    """Tells machines of one survey apart."""
    return f"{machine.node} {machine.path} {machine.name}"


def _head(seen: Surveyed) -> Iterator[str]:
    yield f"# Proposed by `swarfline survey {legible(seen.endpoint)}`."
    yield f"# Lines with {DECISION} want a person; the others tell why they stand here, and how sure that is:"
    yield "# sure: a standard says so; likely: it fits in every way looked at; guess: there are others."
    for note in (seen.problem, seen.cut):
        if note:
            yield f"# Not everything was seen: {legible(note)}"
    yield ""
    yield "[plant]"
    yield f'name = "New plant"  # {DECISION}: its name'
    yield f'time_zone = "UTC"  # {DECISION}: IANA time zone of the shifts, such as "Europe/Madrid"'


def _decisions(seen: Surveyed) -> Iterator[str]:
    yield ""
    yield f"# {DECISION}: when production is planned; without shifts no time is planned. Take the # away."
    yield "# [[shifts]]"
    for line in ('name = "early"', 'start = "06:00"', 'end = "14:00"'):
        yield f"# {line}"
    for part, programs in (_parts(seen) or {"P-1": ["O1000"]}).items():
        yield ""
        yield f"# {DECISION}: the part that this makes, and its planned run time; needed for OEE."
        yield "# [[parts]]"
        yield f"# id = {text_of(part)}"
        yield "# planned_cycle_time_s = 60"
        yield "# parts_per_cycle = 1"
        yield f"# programs = [{', '.join(map(text_of, programs))}]"


def _parts(seen: Surveyed) -> dict[str, list[str]]:
    """Programs by part, as the machines show them now: a part's id has to be what they call it, if they do."""
    found: dict[str, list[str]] = {}
    for machine in seen.machines:
        shown = {p.signal: p.variable.value for p in machine.proposals}
        program, part = shown.get("program"), shown.get("part")
        if isinstance(program, str) and program:
            programs = found.setdefault(part if isinstance(part, str) and part else program, [])
            programs += [program] if program not in programs else []
    return found


def _namespaces(addresses: Addresses) -> Iterator[str]:
    if addresses.used:
        yield ""
        yield "[namespaces]"
        yield from (f"{key_of(prefix)} = {text_of(uri)}" for prefix, uri in addresses.used.items())


def _servers(
    seen: Surveyed, server: Server, addresses: Addresses, missing: Mapping[str, Sequence[str]]
) -> Iterator[str]:
    bodies = [(machine, tuple(_body(machine, addresses))) for machine in seen.machines]
    shared = _shared([_mapped(body) for _, body in bodies if _is_complete(body)])
    for mapped, name in shared.items():
        alike = [(machine, body) for machine, body in bodies if _mapped(body) == mapped]
        yield ""
        yield f"# {len(alike)} machines share these nodes."
        yield from _lost(alike[0][0], missing)
        yield from _tables(f"mappings.{name}", alike[0][1])
    yield from _server(server)
    taken: set[str] = set()
    is_any_complete = any(_is_complete(body) for _, body in bodies)
    for machine, body in bodies:
        lines = list(_machine(machine, addresses, taken, shared.get(_mapped(body))))
        if _mapped(body) not in shared:
            lines += [*_lost(machine, missing), *_tables("servers.machines", body), *_others(machine, addresses)]
        if is_any_complete and not _is_complete(body):
            yield ""
            yield f"# {DECISION}: a machine needs a state, and a count or the program's state; map them first"
            lines = [f"# {line}" for line in lines if line and not line.startswith("#")]
        yield from lines
    if not bodies:
        yield ""
        yield "[[servers.machines]]"
        yield f'id = "machine"  # {DECISION}: no machine was found; map its nodes'


def _server(server: Server) -> Iterator[str]:
    yield from ("", "[[servers]]", f"id = {text_of(server.id)}", f"endpoint = {text_of(server.endpoint)}")
    security = server.security.model_dump(exclude_defaults=True)
    if security:
        pairs = (f"{key} = {_plain(value)}" for key, value in security.items())
        yield f"security = {{ {', '.join(pairs)} }}"


def _lost(machine: FoundMachine, missing: Mapping[str, Sequence[str]]) -> Iterator[str]:
    yield from (f"# missing: {on_one_line(line)}" for line in missing.get(machine_key(machine), ()))


Entry = tuple[str, str, str, str]
"""(table below the machine's, key, value, comment)"""


def _body(machine: FoundMachine, addresses: Addresses) -> Iterator[Entry]:
    asked: dict[str, str] = {}
    for proposal in machine.proposals:
        address = addresses.node(proposal.variable, machine.path)
        tool = split_tool_signal(proposal.signal)
        table = "signals" if tool is None else f"tools.each.{key_of(tool[0])}"
        key = proposal.signal if tool is None else tool[1]
        if address is not None:
            first = asked.get(proposal.variable.node) if tool is not None else None
            yield table, key, _value(proposal, address), _comment(proposal, first)
        if proposal.question:
            asked.setdefault(proposal.variable.node, proposal.signal)
    if machine.tool_list is not None and (place := addresses.path(machine.tool_list)) is not None:
        yield "tools", "objects", text_of(place), "sure; OPC 40501-1: its tool list"


def _is_complete(body: Sequence[Entry]) -> bool:
    """Whether the plant file's check lets a machine with these signals be."""
    signals = {key for table, key, _, _ in body if table == "signals"}
    return bool(signals & _STATES) and bool(signals & _PROGRESS)


def _mapped(body: Sequence[Entry]) -> tuple[tuple[str, str, str], ...]:
    return tuple(entry[:3] for entry in body)


def _shared(bodies: Sequence[tuple[tuple[str, str, str], ...]]) -> dict[tuple[tuple[str, str, str], ...], str]:
    """A name for each set of nodes that several machines have."""
    often = [body for body in dict.fromkeys(bodies) if body and bodies.count(body) > 1]
    return {body: f"kind{n}" for n, body in enumerate(often, start=1)}


def _tables(where: str, body: Sequence[Entry]) -> Iterator[str]:
    for table in dict.fromkeys(entry[0] for entry in body):
        yield ""
        yield f"[{where}.{table}]"
        yield from (f"{key} = {value}  # {comment}" for of, key, value, comment in body if of == table)


def _value(proposal: Proposal, address: str) -> str:
    more: list[tuple[str, str]] = []
    if proposal.unit is not None:
        more.append(("unit", text_of(proposal.unit)))
    for key, number in (("scale", proposal.scale), ("index", proposal.index), ("width", proposal.width)):
        if number is not None:
            more.append((key, repr(number)))
    if proposal.values:
        pairs = (f"{text_of(code)} = {_plain(value)}" for code, value in proposal.values.items())
        more.append(("values", f"{{ {', '.join(pairs)} }}"))
    if not more:
        return text_of(address)
    return "{ " + ", ".join(f"{key} = {value}" for key, value in (("node", text_of(address)), *more)) + " }"


def _plain(value: str | bool | int) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return text_of(value) if isinstance(value, str) else str(value)


def _comment(proposal: Proposal, asked: str | None) -> str:
    """``asked`` is the signal with the same node, as an element of the same array has, that was asked about."""
    reason = f"{proposal.sureness}; {legible(proposal.reason, LONGEST_ADDRESS)}"
    others = f"; others: {', '.join(legible(node) for node in proposal.rivals[:3])}" if proposal.rivals else ""
    if proposal.question:
        return f"{DECISION}: {on_one_line(proposal.question)}. {reason}{others}"
    return f"{DECISION}: as {asked}" if asked is not None else reason


def on_one_line(text: str) -> str:
    """A text of several parts of ours, which may hold a server's: on one line whatever it is, and whole."""
    return legible(text, len(text))


def _machine(machine: FoundMachine, addresses: Addresses, taken: set[str], mapping: str | None) -> Iterator[str]:
    yield ""
    yield "[[servers.machines]]"
    yield f"id = {text_of(_new_id(machine.name, taken))}  # {machine.kind}; {legible(machine.reason)}"
    root = addresses.path(machine.path)
    if root is not None:
        yield f"root = {text_of(root)}"
    elif machine.path and _is_accepted(machine.node, {}):
        yield f"root = {text_of(machine.node)}"
    if mapping is not None:
        yield f"mapping = {text_of(mapping)}"


def _new_id(name: str, taken: set[str]) -> str:
    base = _NOT_ID.sub("-", name).strip("-._")[: LONGEST_ID - 5] or "machine"
    found = next(c for n in range(1, len(taken) + 2) if (c := base if n == 1 else f"{base}-{n}") not in taken)
    taken.add(found)
    return found


def _others(machine: FoundMachine, addresses: Addresses) -> Iterator[str]:
    if not machine.proposals and machine.others:
        yield f"# {DECISION}: nothing here says by itself what it is; map what you know:"
        yield "# [servers.machines.signals]"
        for variable in machine.others:
            address = addresses.node(variable, machine.path)
            if address is not None:
                value = legible(variable.value)
                yield f"# signal = {text_of(address)}  # {variable.type} {legible(variable.unit or '')} {value}"


def save(path: Path, text: str, may_replace: bool) -> None:
    """Write the file whole or not at all; raises FileExistsError, and OSError where it cannot be written."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("x", encoding="utf-8") as file:
            file.write(text)
        if may_replace:
            part.replace(path)
        else:
            # a link fails where the name is taken, which a look before would not
            path.hardlink_to(part)
    finally:
        part.unlink(missing_ok=True)
