"""/metrics: the health of the connections, of the machines and of this process, for a metrics collector."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Response

import swarfline
from swarfline.facts import CONDITIONS
from swarfline.serve.assemble import Assembly
from swarfline.serve.openmetrics import MEDIA_TYPE, Family, exposition
from swarfline.serve.presence import presence
from swarfline.serve.room import InRoom, Room
from swarfline.serve.servers import server_row
from swarfline.serve.spans import DAY, named

router = APIRouter(tags=["health"])

STATES = ("connecting", "connected", "waiting", "unknown")
_COUNTERS = {
    "changes": "Changes received.",
    "reconnects": "Connections made anew.",
    "overflows": "Queues of the server that ran over.",
    "sequence_gaps": "Notifications that were missed.",
    "republished": "Notifications that were missed at first and had on asking again.",
}
_OPENAPI: dict[int | str, dict[str, Any]] = {
    200: {"content": {MEDIA_TYPE: {"schema": {"type": "string"}}}, "description": "OpenMetrics text"}
}


@router.get("/metrics", response_class=Response, responses=_OPENAPI)
def read_metrics(room: InRoom) -> Response:
    """Connections, machines and this process as OpenMetrics text; what is not known is left out."""
    families = [*_server_families(room), *_machine_families(room), *_process_families()]
    # by headers: the media type is told whole, as the format asks for it
    return Response(exposition(families), headers={"content-type": MEDIA_TYPE})


def _server_families(room: Room) -> list[Family]:
    state = Family("swarfline_server_state", "stateset", "The connection; unknown: the collector tells nothing.")
    counters = {name: Family(f"swarfline_server_{name}", "counter", about) for name, about in _COUNTERS.items()}
    unmapped = Family("swarfline_server_unmapped_codes", "counter", "Values whose code has no meaning.")
    ignored = Family("swarfline_server_ignored_values", "counter", "What could not be used, by kind.")
    refused = Family("swarfline_server_refused_signals", "gauge", "Signals that the server does not grant.")
    offset = Family(
        "swarfline_server_clock_offset_seconds", "gauge", "The server's clock minus ours.", unit="seconds"
    )
    lag = Family(
        "swarfline_server_lag_seconds",
        "gauge",
        "Our clock at the last commit minus the newest time told, of the machine that is furthest behind.",
        unit="seconds",
    )
    pace = Family(
        "swarfline_server_changes_per_second", "gauge", "Changes received, of the last ten seconds or so."
    )
    told = {status["server"]: status for status in room.queries.servers()}
    for server in room.plant.servers:
        status: Mapping[str, Any] = told.get(server.id, {})
        row = server_row(room, server, status or None)
        labels = {"server": server.id}
        state.add_state(labels, STATES, row.state)
        for name, counter in counters.items():
            counter.add(labels, status.get(name))
        kinds: Mapping[str, int] | None = status.get("ignored")
        unmapped.add(labels, None if kinds is None else kinds.get("unmapped_code", 0))
        for kind, count in (kinds or {}).items():
            ignored.add({**labels, "kind": kind}, count)
        if row.state != "unknown":
            refused.add(labels, len(row.refused))
            offset.add(labels, row.clock_offset_s)
            lag.add(labels, row.lag_s)
            pace.add(labels, row.changes_per_s)
    return [state, *counters.values(), unmapped, ignored, refused, offset, lag, pace]


def _machine_families(room: Room) -> list[Family]:
    condition = Family("swarfline_machine_condition", "stateset", "What the machine is doing now.")
    coverage = Family(
        "swarfline_machine_coverage_ratio",
        "gauge",
        "Observed share of the time that was planned today, so far.",
        unit="ratio",
    )
    machines = [m.id for m in room.plant.machines]
    asked = named(room, DAY, machines, room.now_us())
    work = Assembly(room, asked.interval, asked.now_us)
    for machine in machines:
        labels = {"machine": machine}
        condition.add_state(labels, CONDITIONS, presence(room, machine).condition)
        share = work.coverage([machine])
        coverage.add(labels, None if share is None else float(share))
    return [condition, coverage]


def _process_families() -> list[Family]:
    build = Family("swarfline_build", "info", "The version that answers.")
    build.add({"version": swarfline.__version__}, 1)
    cpu = Family("process_cpu_seconds", "counter", "Processor time used.", unit="seconds")
    cpu.add({}, time.process_time())
    memory = Family("process_resident_memory_bytes", "gauge", "Memory held.", unit="bytes")
    files = Family("process_open_fds", "gauge", "Files and sockets that are open.")
    # only Linux tells these in files
    with suppress(OSError):
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        memory.add({}, pages * os.sysconf("SC_PAGE_SIZE"))
        files.add({}, sum(1 for _ in Path("/proc/self/fd").iterdir()))
    return [build, cpu, memory, files]
