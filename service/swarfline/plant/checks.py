"""Checks across tables of a plant file: ids, references, zone, shifts, signals, addresses."""

from __future__ import annotations

import difflib
import ipaddress
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from swarfline.plant.model import Machine, NodeRef, Plant
from swarfline.plant.shifts import overlaps
from swarfline.signals import SIGNALS, TOOL_FIELDS, Kind

STATE_SIGNALS = ("state", "executing")
PROGRESS_SIGNALS = ("part_count", "cycle_count", "program_state")
KNOWN_NAMESPACES = {
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
"""Prefixes that need no [namespaces] entry: the companion specifications."""


def cross_checks(plant: Plant) -> list[str]:
    """One line per error, in the file's order."""
    checks = (_zone, _listen, _shifts, _stops, _parts, _references, _mappings, _machines)
    return [line for find in checks for line in find(plant)]


def namespaces(plant: Plant) -> dict[str, str]:
    """Namespace URI by prefix, the well-known ones included."""
    return {**KNOWN_NAMESPACES, **plant.namespaces}


def _zone(plant: Plant) -> Iterator[str]:
    name = plant.plant.time_zone
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, IsADirectoryError):
        near = difflib.get_close_matches(name, available_timezones(), n=1, cutoff=0.5)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        yield f"[plant]: key 'time_zone' = {name!r}: unknown IANA time zone{hint}"


def _listen(plant: Plant) -> Iterator[str]:
    host = plant.listen.host
    if not is_loopback(host):
        yield (
            f"[listen]: key 'host' = {host!r}: only loopback addresses (127.0.0.1, ::1, localhost) are allowed "
            "until this version knows users; put a proxy with its own sign-in on this machine instead"
        )


def is_loopback(host: str) -> bool:
    """Whether nobody outside this machine can reach what listens there."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _twice(values: Iterable[str]) -> list[str]:
    return [value for value, count in Counter(values).items() if count > 1]


def _shifts(plant: Plant) -> Iterator[str]:
    known = [m.id for m in plant.machines]
    for shift in plant.shifts:
        for machine in shift.machines:
            if machine not in known:
                yield f"[[shifts]] {shift.name!r}: key 'machines': {_unknown('machine', machine, known)}"
    for first, second, machine in overlaps(plant.shifts, tuple(known)):
        yield (
            f"[[shifts]] {second!r}: key 'start': overlaps shift {first!r} on machine {machine}; a machine can "
            "be in one shift at a time"
        )


def _stops(plant: Plant) -> Iterator[str]:
    known = [m.id for m in plant.machines]
    for number, stop in enumerate(plant.planned_stops, 1):
        where = f"[[planned_stops]] no. {number}"
        if (stop.start.tzinfo is None) != (stop.end.tzinfo is None):
            yield f"{where}: keys 'start' and 'end': give both an offset or neither"
        elif stop.end <= stop.start:
            yield f"{where}: key 'end' = {stop.end.isoformat()}: must be after 'start' {stop.start.isoformat()}"
        for machine in stop.machines:
            if machine not in known:
                yield f"{where}: key 'machines': {_unknown('machine', machine, known)}"


def _parts(plant: Plant) -> Iterator[str]:
    for part in _twice(p.id for p in plant.parts):
        yield f"[[parts]] {part!r}: key 'id': used by two parts"
    for program in _twice(program for p in plant.parts for program in p.programs):
        yield f"[[parts]]: key 'programs': program {program!r} is claimed by two parts"


def _references(plant: Plant) -> Iterator[str]:
    for label, ids in (
        ("[[servers]]", [s.id for s in plant.servers]),
        ("[[cells]]", [c.id for c in plant.cells]),
    ):
        for twice in _twice(ids):
            yield f"{label} {twice!r}: key 'id': used twice"
    for twice in _twice(m.id for m in plant.machines):
        yield f"[[servers.machines]] {twice!r}: key 'id': used by two machines; every machine needs its own"
    cells, mappings = [c.id for c in plant.cells], list(plant.mappings)
    parts = [p.id for p in plant.parts]
    for machine in plant.machines:
        for key, value, known in (
            ("cell", machine.cell, cells),
            ("mapping", machine.mapping, mappings),
            ("part", machine.part, parts),
        ):
            if value is not None and value not in known:
                yield f"{_where(machine)}: key {key!r}: {_unknown(key, value, known)}"


def _unknown(what: str, value: str, known: Iterable[str]) -> str:
    listed = list(known)
    near = difflib.get_close_matches(value, listed, n=1, cutoff=0.5)
    hint = f"; did you mean {near[0]!r}?" if near else f" (there are: {', '.join(listed) or 'none'})"
    return f"no {what} {value!r}{hint}"


def _where(machine: Machine) -> str:
    return f"[[servers.machines]] {machine.id!r}"


def _mappings(plant: Plant) -> Iterator[str]:
    for name, mapping in plant.mappings.items():
        yield from _signal_names(f"[mappings.{name}.signals]", mapping.signals)
        yield from _tool_fields(f"[mappings.{name}.tools.each", mapping.tools.each)
    for machine in plant.machines:
        yield from _signal_names(f"{_where(machine)} signals", machine.signals)
        if machine.tools is not None:
            yield from _tool_fields(f"{_where(machine)} [tools.each", machine.tools.each)


def _signal_names(where: str, signals: Mapping[str, NodeRef]) -> Iterator[str]:
    for name in signals:
        if name not in SIGNALS:
            yield f"{where}: unknown signal {name!r}{_near(name, SIGNALS)}"
    yield from _choices(where, signals)


def _choices(where: str, signals: Mapping[str, NodeRef]) -> Iterator[str]:
    for name, ref in signals.items():
        signal = SIGNALS.get(name) or TOOL_FIELDS.get(name)
        if signal is None or signal.kind is not Kind.ENUM:
            continue
        for code, value in (ref.values or {}).items():
            if value not in signal.choices:
                allowed = ", ".join(signal.choices)
                yield f"{where}: signal {name!r}: values: code {code!r} = {value!r} is not one of: {allowed}"


def _tool_fields(where: str, each: Mapping[str, Mapping[str, NodeRef]]) -> Iterator[str]:
    for key, fields in each.items():
        for field in fields:
            if field not in TOOL_FIELDS:
                yield f"{where}.{key}]: unknown tool field {field!r}{_near(field, TOOL_FIELDS)}"
        yield from _choices(f"{where}.{key}]", fields)


def _near(name: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.5)
    return f"; did you mean {near[0]!r}?" if near else f" (known: {', '.join(known)})"


def _machines(plant: Plant) -> Iterator[str]:
    for machine in plant.machines:
        if machine.mapping is not None and machine.mapping not in plant.mappings:
            continue
        nodes = plant.nodes_of(machine)
        if not any(s in nodes for s in STATE_SIGNALS):
            yield f"{_where(machine)}: no signal 'state' or 'executing' is mapped; one of them is required"
        if not any(s in nodes for s in PROGRESS_SIGNALS):
            allowed = ", ".join(repr(s) for s in PROGRESS_SIGNALS)
            yield f"{_where(machine)}: none of {allowed} is mapped; one of them is required"
        if machine.cycle_bounds is not None and machine.cycle_bounds not in (*nodes, "executing"):
            yield f"{_where(machine)}: key 'cycle_bounds' = {machine.cycle_bounds!r}: that signal is not mapped"
        yield from _prefixes(plant, machine)


def _prefixes(plant: Plant, machine: Machine) -> Iterator[str]:
    known = namespaces(plant)
    refs = {**{k: r.node for k, r in plant.nodes_of(machine).items()}, "root": machine.root}
    refs["tools.objects"] = plant.tools_of(machine).objects or ""
    for key, node in refs.items():
        if node.startswith("nsu="):
            continue
        if node.startswith("ns="):
            yield (
                f"{_where(machine)}: {key} = {node!r}: namespace indexes change when a server restarts; write the "
                "namespace's URI (nsu=URI;s=…) or a browse path"
            )
            continue
        for step in node.split("/") if node else ():
            prefix, colon, _ = step.partition(":")
            if not colon:
                yield f"{_where(machine)}: {key} = {node!r}: step {step!r} needs a prefix, as in 'mt:{step}'"
            elif prefix not in known:
                yield f"{_where(machine)}: {key} = {node!r}: {_unknown('namespace prefix', prefix, known)}"
