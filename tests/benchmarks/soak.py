"""Fifty connections for twenty minutes: memory, processor time, changes, and whether any was lost.

    python tests/benchmarks/soak.py [--minutes 20] [--hz 5]

One process (``packed_server``) plays 50 machines; the collector watches each as a server of its own, so it holds
50 sessions and subscriptions, and stores all that they tell. Before that, in the same run, two shorter phases on
the same core: 50 bare asyncua subscriptions that throw values away, and 50 supervisors into a sink that takes all.
Printed: the resident memory and the interpreter's blocks in use, minute by minute, and their growth after the
warm-up (straight lines by least squares; memory that a burst once took stays resident, blocks do not), processor
time per change of all three and their ratios, changes per second, readings missing, and connections made anew.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import gc
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy
from bare_client import counting
from collect_ratio import ROOT, _free_port
from packed_server import MACHINES, RATE_HZ, URI, names, serve
from whole_rate import PUBLISHING_MS, Meter, machine_table

COLLECT_BUDGET, MEMORY_BUDGET_MB = 1.5, 250
SHORT_S, SETTLE_S = 40.0, 8.0
WARM_UP_SHARE = 0.25
LOOK_S = 5.0
PAGE = os.sysconf("SC_PAGE_SIZE")
NODES = MACHINES * len(names())


def plant_file(port: int, database: str) -> dict[str, Any]:
    """Fifty servers of one machine each."""
    endpoint = f"opc.tcp://127.0.0.1:{port}/benchmark"
    return {
        "plant": {"name": "Soak", "time_zone": "UTC"},
        "store": {"url": f"sqlite:///{database}"},
        "shifts": [{"name": "all", "start": "00:00", "end": "00:00"}],
        "servers": [
            {
                "id": f"line{n}",
                "endpoint": endpoint,
                "publishing_ms": PUBLISHING_MS,
                "machines": [machine_table(n)],
            }
            for n in range(MACHINES)
        ],
    }


def resident_mb() -> float:
    """Resident memory of this process now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE / 1e6


async def bare(port: int, seconds: float) -> dict[str, float]:
    """Fifty subscriptions that only count."""
    async with contextlib.AsyncExitStack() as stack:
        seen = [
            await stack.enter_async_context(
                counting(port, URI, [f"M{machine}.{name}" for name in names()], PUBLISHING_MS)
            )
            for machine in range(MACHINES)
        ]
        return await _spent(lambda: sum(count() for count in seen), seconds)


async def supervised(port: int, seconds: float) -> dict[str, float]:
    """Fifty supervisors into a sink that takes everything and keeps nothing."""
    from swarfline.connect import Supervisor
    from swarfline.plant.load import check

    plant = check(plant_file(port, "unused.db"), "plant.toml")
    supervisors = [Supervisor(server, plant, lambda batch: True) for server in plant.servers]
    tasks = [asyncio.create_task(supervisor.run()) for supervisor in supervisors]
    while any(supervisor.status.state != "connected" for supervisor in supervisors):
        await asyncio.sleep(0.05)
    found = await _spent(lambda: sum(s.status.changes for s in supervisors), seconds)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    return found


async def _spent(changes: Any, seconds: float) -> dict[str, float]:
    await asyncio.sleep(SETTLE_S)
    gc.collect()
    gc.freeze()
    meter, before = Meter(), changes()
    meter.begin()
    await asyncio.sleep(seconds)
    return {"changes": changes() - before, "cpu_s": meter.spent_s}


async def collect(port: int, seconds: float) -> dict[str, Any]:
    """The whole collector over a real database; memory is looked at every few seconds."""
    from swarfline.collect import Collector
    from swarfline.plant.load import check
    from swarfline.store import Store

    with tempfile.TemporaryDirectory() as folder:
        plant = check(plant_file(port, f"{folder}/soak.db"), "plant.toml")
        store = Store.open(plant.store.url)
        collector = Collector(plant, store)
        task = asyncio.create_task(collector.run())
        statuses = [s.status for s in collector._supervisors]
        while any(status.state != "connected" for status in statuses):
            await asyncio.sleep(0.05)
            statuses = [s.status for s in collector._supervisors]
        meter, looks, started_s = Meter(), [], time.perf_counter()
        meter.begin()
        while (past_s := time.perf_counter() - started_s) < seconds and not task.done():
            looks.append((past_s, resident_mb(), sys.getallocatedblocks()))
            await asyncio.sleep(LOOK_S)
        share, spent_s = meter.share(), meter.spent_s
        statuses = [s.status for s in collector._supervisors]
        await asyncio.sleep(SETTLE_S)
        collector.stop()
        await task
        told, gaps = _stored(store)
        store.close()
        size_mb = _size_mb(folder)
    return {
        "looks": looks, "share": share, "cpu_s": spent_s, "changes": sum(s.changes for s in statuses),
        "reconnects": sum(s.reconnects for s in statuses), "overflows": sum(s.overflows for s in statuses),
        "sequence_gaps": sum(s.sequence_gaps for s in statuses), "stored": told, "gaps": gaps, "size_mb": size_mb,
    }  # fmt: skip


def _size_mb(folder: str) -> float:
    return sum(file.stat().st_size for file in Path(folder).iterdir()) / 1e6


def _stored(store: Any) -> tuple[int, int]:
    """(readings of nodes, each later than the one before of its signal; links lost)."""
    last: dict[tuple[str, str], int] = {}
    told = lost = 0
    for reading in store.readings(0, 2**62):
        if reading.signal == "link":
            lost += reading.value == "lost"
        elif reading.signal != "clock_offset" and reading.source_us > last.get(reading[:2], 0):
            last[reading[:2]] = reading.source_us
            told += 1
    return told, lost


def _start(role: str, core: int, port: int, seconds: float, hz: float) -> subprocess.Popen[str]:
    words = ("--role", role, "--core", str(core), "--port", str(port), "--seconds", str(seconds), "--hz", str(hz))
    path = os.pathsep.join([str(ROOT / "service"), str(Path(__file__).parent)])
    return subprocess.Popen(
        [sys.executable, __file__, *words],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
    )


def measure(seconds: float, hz: float) -> dict[str, dict[str, Any]]:
    """The three phases one after the other, each with a server of its own."""
    cores = sorted(os.sched_getaffinity(0))
    found = {}
    for role, lasts_s in (("bare", SHORT_S), ("supervised", SHORT_S), ("collect", seconds)):
        port = _free_port()
        # the bare phases end before their feed does
        fed_s = lasts_s if role == "collect" else lasts_s + 3 * SETTLE_S
        server = _start("serve", cores[0], port, fed_s, hz)
        try:
            assert server.stdout is not None
            assert server.stdout.readline() == "ready\n"
            client = _start(role, cores[-1], port, lasts_s, hz)
            text, _ = client.communicate(timeout=4 * lasts_s + 600)
            found[role] = json.loads(text)
        finally:
            server.kill()
            server.wait()
    return found


def report(found: dict[str, dict[str, Any]], seconds: float, hz: float) -> None:
    """Print it all."""
    each_us = {role: one["cpu_s"] / max(1, one["changes"]) * 1e6 for role, one in found.items()}
    whole = found["collect"]
    looks = numpy.array(whole["looks"])
    settled = looks[looks[:, 0] >= WARM_UP_SHARE * seconds]
    slope, blocks = (float(numpy.polyfit(settled[:, 0], settled[:, of], 1)[0]) * 60 for of in (1, 2))
    print("minute  resident MB  blocks in use")
    for minute in range(int(seconds // 60) + 1):
        _, megabytes, used = looks[int(numpy.argmin(abs(looks[:, 0] - 60 * minute)))]
        print(f"{minute:6d}  {megabytes:11.1f}  {used:13.0f}")
    # the value that was there when the subscription began comes too
    told = (round(seconds * hz) + 1) * NODES
    print(
        f"memory after the warm-up {slope:+.2f} MB/min, {blocks:+.0f} blocks/min; most {looks[:, 1].max():.0f} MB"
    )
    print(f"collector                {whole['share']:.2f} of a core at {whole['changes'] / seconds:.0f} changes/s")
    print(f"told, stored, missing    {told}, {whole['stored']}, {told - whole['stored']}")
    print(f"database                 {whole['size_mb']:.0f} MB")
    for what in ("reconnects", "overflows", "sequence_gaps", "gaps"):
        print(f"{what:24} {whole[what]}")
    for role, us in each_us.items():
        print(f"{role:24} {us:.2f} us of processor per change, {us / each_us['bare']:.2f} x bare")
    ratio = each_us["supervised"] / each_us["bare"]
    print(f"budget of collecting, {COLLECT_BUDGET} x bare: {_kept(ratio <= COLLECT_BUDGET)}")
    print(f"budget of memory, {MEMORY_BUDGET_MB} MB: {_kept(looks[:, 1].max() < MEMORY_BUDGET_MB)}")


def _kept(kept: bool) -> str:
    return "kept" if kept else "MISSED"


def main() -> None:
    """One role, or the whole measurement."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=20.0, help="how long the collector runs")
    parser.add_argument("--hz", type=float, default=float(RATE_HZ), help="changes per second of each node")
    for hidden in ("--role", "--port", "--core", "--seconds"):
        parser.add_argument(hidden, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.core:
        os.sched_setaffinity(0, {int(args.core)})
    if args.role == "serve":
        asyncio.run(serve(int(args.port), round(float(args.seconds) * args.hz), together=1, rate_hz=args.hz))
    elif args.role:
        role = {"bare": bare, "supervised": supervised, "collect": collect}[args.role]
        print(json.dumps(asyncio.run(role(int(args.port), float(args.seconds)))))
    else:
        seconds = args.minutes * 60
        report(measure(seconds, args.hz), seconds, args.hz)


if __name__ == "__main__":
    main()
