"""A plant file held against its servers: every mapped signal read once, everything that is wrong said."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Sequence
from dataclasses import asdict

from swarfline.connect import Finding, Inspection, Shown, inspect, legible
from swarfline.plant import Plant


async def check_online(plant: Plant, machines: Sequence[str] = ()) -> list[Inspection]:
    """Look at all servers at once, or at those of some machines. A server's faults never raise."""
    asked = [(s, [m for m in s.machines if not machines or m.id in machines]) for s in plant.servers]
    return await asyncio.gather(*(inspect(server, plant, some) for server, some in asked if some))


def is_fine(inspections: Sequence[Inspection]) -> bool:
    """True when nothing has to be mended; notes do not count."""
    return all(inspection.is_fine for inspection in inspections)


def as_json_text(inspections: Sequence[Inspection], notes: Sequence[str]) -> str:
    """For a program; ``notes`` are those of the file itself."""
    servers = [{**asdict(inspection), "ok": inspection.is_fine} for inspection in inspections]
    return json.dumps({"ok": is_fine(inspections), "notes": list(notes), "servers": servers})


def as_text(inspections: Sequence[Inspection]) -> str:
    """For a person: what each server and signal shows, then what was found, a line each."""
    lines = []
    for inspection in inspections:
        lines.append(server_line(inspection))
        lines += [signal_line(shown) for shown in inspection.signals]
    lines += [finding_line(finding) for inspection in inspections for finding in inspection.findings]
    findings = [finding for inspection in inspections for finding in inspection.findings]
    errors = sum(finding.weight == "error" for finding in findings)
    signals = sum(len(inspection.signals) for inspection in inspections)
    lines.append(
        f"{len(inspections)} server(s), {signals} signal(s) read: "
        f"{errors} error(s), {len(findings) - errors} note(s)"
    )
    return "\n".join(lines)


def server_line(seen: Inspection) -> str:
    """Address, security, clock and limits of one server."""
    if not seen.is_reached:
        return f"server {seen.server}  {seen.endpoint}  not reached"
    offset = "unknown" if seen.clock_offset_us is None else f"{seen.clock_offset_us / 1e6:+.3f} s"
    limits = " ".join(f"{name} {limit}" for name, limit in seen.limits.items())
    published = "" if seen.publishing_ms is None else f", publishing {seen.publishing_ms:g} ms"
    return (
        f"server {seen.server}  {seen.endpoint}  security {seen.security or 'unknown'} "
        f"(offered: {', '.join(seen.offered) or 'unknown'})  clock {offset}  "
        f"access {seen.access or 'unknown'}{published}  per call: {limits}"
    )


def signal_line(shown: Shown) -> str:
    """One signal: our value, the raw one, quality, age, and how it will be watched."""
    value = (
        "unknown" if shown.value is None else f"{legible(shown.value)} {shown.unit if shown.unit != '1' else ''}"
    )
    if shown.type == "list":
        return f"  {shown.machine} {shown.signal:20} {legible(shown.value)}"
    unit = "" if shown.node_unit is None else f" {shown.node_unit}"
    age = "no time stamp" if shown.age_s is None else f"age {shown.age_s:.1f} s"
    watched = "not watched" if shown.sampling_ms is None else f"sampling {shown.sampling_ms:g} ms"
    queue = "" if shown.queue_size is None else f" queue {shown.queue_size}"
    return (
        f"  {shown.machine} {shown.signal:20} {value.strip() or 'empty':20} "
        f"raw {shown.raw}{unit} ({shown.type})  {shown.quality}  {age}  {watched}{queue}"
    )


def finding_line(finding: Finding) -> str:
    """Where, what, and what to do."""
    where = " ".join(part for part in (finding.machine, finding.signal) if part)
    node = f" [{finding.node}]" if finding.node else ""
    return (
        f"{finding.weight}: server {finding.server}{' ' if where else ''}{where}{node}: "
        f"{finding.found}. To do: {finding.advice}"
    )
