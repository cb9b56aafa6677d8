"""What a server that floods, and eight that hang, cost the others: one calm server watched without and with them.

    python tests/benchmarks/flood.py [--seconds 20] [--hz 12.5]

The calm server tells 80 values five times a second. The one that floods tells 3920 values so often (49 000
changes a second by default, against 20 000 of the largest plant that is planned for); the eight that hang accept
connections and never answer. Printed, for the calm server alone and then in their company: changes that came and
ticks that are missing, how long they took from their source time to being handed over and to the end of their
commit, and the gaps of each.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import subprocess
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy
from collect_ratio import ROOT, _free_port
from packed_server import MACHINES, RATE_HZ, TICK_US, serve
from whole_rate import PUBLISHING_MS, machine_table

HANGING = 8
FLOOD_HZ = 12.5
CALM = "M0"


def plant_file(calm: int, flood: int | None, hanging: list[int], database: str) -> dict[str, Any]:
    """The calm server; in company the one that floods with the other machines, and those that hang."""
    servers = [_server("calm", calm, [machine_table(0)])]
    if flood is not None:
        servers.append(_server("flood", flood, [machine_table(n) for n in range(1, MACHINES)]))
    for n, port in enumerate(hanging):
        machine = {"id": f"H{n}", "signals": {"state": "ua:State", "part_count": "ua:Count"}}
        servers.append(_server(f"hanging{n}", port, [machine]))
    return {
        "plant": {"name": "Flood", "time_zone": "UTC"},
        "store": {"url": f"sqlite:///{database}"},
        "shifts": [{"name": "all", "start": "00:00", "end": "00:00"}],
        "servers": servers,
    }


def _server(name: str, port: int, machines: list[dict[str, Any]]) -> dict[str, Any]:
    endpoint = f"opc.tcp://127.0.0.1:{port}/benchmark"
    return {"id": name, "endpoint": endpoint, "publishing_ms": PUBLISHING_MS, "machines": machines}


async def watch(calm: int, flood: int | None, seconds: float) -> dict[str, Any]:
    """Run a collector, and look at the calm machine's readings on their way and in the database."""
    from swarfline.collect import Collector
    from swarfline.plant.load import check
    from swarfline.store import Store

    silent = [await asyncio.start_server(_say_nothing, "127.0.0.1", 0) for _ in range(HANGING if flood else 0)]
    ports = [server.sockets[0].getsockname()[1] for server in silent]
    with tempfile.TemporaryDirectory() as folder:
        plant = check(plant_file(calm, flood, ports, f"{folder}/flood.db"), "plant.toml")
        store = Store.open(plant.store.url)
        collector = Collector(plant, store)
        handed, stored, flooded = _listen(collector)
        task = asyncio.create_task(collector.run())
        await asyncio.sleep(seconds)
        statuses = {s.status.server: s.status for s in collector._supervisors}
        collector.stop()
        await task
        used = (CALM, "tools[1].used")
        told = [r.source_us for r in store.readings(0, 2**62) if r[:2] == used]
        lost = [r for r in store.readings(0, 2**62) if r.signal == "link" and r.value == "lost"]
        store.close()
    return {
        "came": len(handed), "missing_ticks": _missing(told),
        "handed_s": _spread(handed), "stored_s": _spread(stored),
        "gaps": sum(r.machine == CALM for r in lost), "flood_gaps": sum(r.machine != CALM for r in lost),
        "flood_per_s": sum(flooded) / seconds, "reconnects": statuses["calm"].reconnects,
    }  # fmt: skip


def _missing(times: list[int]) -> int:
    """Ticks that are not there; what was read when the connection was made is none of them."""
    times = sorted(set(times))
    first = next(a for a, b in pairwise(times) if b - a == TICK_US)
    ticks = [us for us in times if us >= first and (us - first) % TICK_US == 0]
    return (ticks[-1] - first) // TICK_US + 1 - len(ticks)


async def _say_nothing(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
    while await reader.read(4096):
        pass


def _listen(collector: Any) -> tuple[list[float], list[float], list[int]]:
    """Ages, in s, of the calm machine's readings when they are committed: at their receipt, and at the end."""
    handed: list[float] = []
    stored: list[float] = []
    flooded: list[int] = []
    commit = collector._pipeline.commit

    def watched(batch: Any) -> None:
        commit(batch)
        now_s = time.time()
        calm = [r for r in batch.readings if r.machine == CALM and r.signal not in ("link", "clock_offset")]
        flooded.append(len(batch.readings) - len(calm))
        # those read when the connection was made carry older times
        fresh = [r for r in calm if r.received_us - r.source_us < 60e6]
        handed.extend((r.received_us - r.source_us) / 1e6 for r in fresh)
        stored.extend(now_s - r.source_us / 1e6 for r in fresh)

    collector._pipeline.commit = watched
    return handed, stored, flooded


def _spread(ages: list[float]) -> list[float]:
    return [float(numpy.percentile(ages, share)) for share in (50, 95, 100)] if ages else [float("nan")] * 3


def _start(role: str, core: int, **words: object) -> subprocess.Popen[str]:
    more = [word for key, value in words.items() for word in (f"--{key}", str(value))]
    path = os.pathsep.join([str(ROOT / "service"), str(Path(__file__).parent)])
    command = [sys.executable, __file__, "--role", role, "--core", str(core), *more]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": path})


def measure(seconds: float, hz: float) -> list[dict[str, Any]]:
    """Alone, then in company."""
    cores = sorted(os.sched_getaffinity(0))
    found = []
    for in_company in (False, True):
        calm, flood = _free_port(), _free_port()
        servers = [_start("serve", cores[0], port=calm, together=1, hz=RATE_HZ)]
        if in_company:
            servers.append(_start("serve", cores[0], port=flood, together=MACHINES - 1, hz=hz))
        try:
            for server in servers:
                assert server.stdout is not None
                assert server.stdout.readline() == "ready\n"
            more = {"flood": flood} if in_company else {}
            client = _start("watch", cores[-1], calm=calm, seconds=seconds, **more)
            text, _ = client.communicate(timeout=seconds + 300)
            found.append(json.loads(text))
        finally:
            for server in servers:
                server.kill()
                server.wait()
    return found


def main() -> None:
    """One role, or the whole measurement."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=20.0, help="how long each part lasts")
    parser.add_argument("--hz", type=float, default=FLOOD_HZ, help="changes per second of each node that floods")
    for hidden in ("--role", "--port", "--core", "--together", "--calm", "--flood"):
        parser.add_argument(hidden, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.core:
        os.sched_setaffinity(0, {int(args.core)})
    if args.role == "serve":
        asyncio.run(serve(int(args.port), 10**9, int(args.together), args.hz))
    elif args.role == "watch":
        flood = int(args.flood) if args.flood else None
        print(json.dumps(asyncio.run(watch(int(args.calm), flood, args.seconds))))
    else:
        _report(*measure(args.seconds, args.hz))


def _report(alone: dict[str, Any], company: dict[str, Any]) -> None:
    for what, one in (("alone", alone), ("in company", company)):
        counts = f"{one['came']} changes, {one['missing_ticks']} ticks missing, {one['gaps']} gaps"
        print(f"calm server {what}: {counts}")
        for name in ("handed", "stored"):
            pairs = zip(one[f"{name}_s"], ("median", "p95", "most"), strict=True)
            shown = ", ".join(f"{age:.2f} s {which}" for age, which in pairs)
            print(f"  from source time to {name:7} {shown}")
    print(f"flood: {company['flood_per_s']:.0f} changes/s stored, {company['flood_gaps']} gaps of its machines")
    ratio = company["handed_s"][1] / alone["handed_s"][1]
    print(f"p95 until handed over, in company against alone: {ratio:.2f}")


if __name__ == "__main__":
    main()
