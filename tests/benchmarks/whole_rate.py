"""Collect + interpret + store in one process on one core: 50 machines × 80 nodes × 5 Hz, 20 000 changes a second.

    python tests/benchmarks/whole_rate.py [--seconds 30]

A server of its own process (``packed_server``) tells every change; the collector is bound to one core. Printed:
changes sent and stored (none may be missing), the collector's share of its core, how long readings waited from
their receipt to the end of their commit, and, as baseline of the same run, the share of the core that a bare
asyncua subscription needs that throws the same values away.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from bare_client import counting
from collect_ratio import ROOT, _free_port
from packed_server import MACHINES, POTS, RATE_HZ, TICK_US, URI, names, serve

LAG_BUDGET_S = 1.0
PUBLISHING_MS = 500
WARM_UP_S = 3.0
NODES = MACHINES * len(names())


def plant_file(port: int, database: str) -> dict[str, Any]:
    """The raw plant file for the server's nodes."""
    return {
        "plant": {"name": "Benchmark", "time_zone": "UTC"},
        "store": {"url": f"sqlite:///{database}"},
        "shifts": [{"name": "all", "start": "00:00", "end": "00:00"}],
        "servers": [
            {
                "id": "line", "endpoint": f"opc.tcp://127.0.0.1:{port}/benchmark", "publishing_ms": PUBLISHING_MS,
                "machines": [machine_table(number) for number in range(MACHINES)],
            }
        ],
    }  # fmt: skip


def machine_table(number: int) -> dict[str, Any]:
    """One machine of the raw plant file."""
    start = f"nsu={URI};s=M{number}."
    plain = [name for name in names() if not name[-1].isdigit()]
    fields = ("number", "limit", "used", "locked")
    each = {str(p): {f: f"{start}{f}{p}" for f in fields} for p in range(1, POTS + 1)}
    return {"id": f"M{number}", "signals": {name: start + name for name in plain}, "tools": {"each": each}}


class Meter:
    """Processor time of this process over a window that begins after the warm-up."""

    def __init__(self) -> None:
        self._begun: tuple[float, float] | None = None

    def begin(self) -> None:
        """The window begins."""
        self._begun = time.perf_counter(), time.process_time()

    @property
    def spent_s(self) -> float:
        """Processor seconds since then."""
        assert self._begun is not None
        return time.process_time() - self._begun[1]

    def share(self) -> float:
        """Share of one core since then."""
        assert self._begun is not None
        return self.spent_s / (time.perf_counter() - self._begun[0])


async def collect(port: int, seconds: float) -> dict[str, float]:
    """Run a collector over a real database until every tick has come, and look at what is in there."""
    from swarfline.collect import Collector
    from swarfline.plant.load import check
    from swarfline.store import Store

    with tempfile.TemporaryDirectory() as folder:
        plant = check(plant_file(port, f"{folder}/rate.db"), "plant.toml")
        store = Store.open(plant.store.url)
        collector = Collector(plant, store)
        waits = _watch_commits(collector)
        meter = Meter()
        task = asyncio.create_task(collector.run())
        while not waits:
            await asyncio.sleep(0.05)
        await asyncio.sleep(WARM_UP_S)
        meter.begin()
        del waits[:]
        await asyncio.sleep(seconds - WARM_UP_S - 2)
        share, measured = meter.share(), sorted(waits)
        await asyncio.sleep(5)
        collector.stop()
        await task
        # before what is stored is read into memory for the count
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        stored = [r for r in store.readings(0, 2**62) if r.signal not in ("link", "clock_offset")]
        told = {(r.machine, r.signal, r.source_us) for r in stored}
        store.close()
    if not measured:
        raise RuntimeError("nothing was committed: nothing was measured")
    return {
        "stored": len(told), "share": share, "wait_median_s": measured[len(measured) // 2],
        "wait_p95_s": measured[int(len(measured) * 0.95)], "wait_max_s": measured[-1],
        "commits_per_s": len(measured) / (seconds - WARM_UP_S - 2),
        "peak_mb": peak_mb,
    }  # fmt: skip


def _watch_commits(collector: Any) -> list[float]:
    """How long the oldest reading of each commit had waited when it was done, in s."""
    waits: list[float] = []
    commit = collector._pipeline.commit

    def watched(batch: Any) -> None:
        commit(batch)
        if batch.readings:
            waits.append(time.time() - min(r.received_us for r in batch.readings) / 1e6)

    collector._pipeline.commit = watched
    return waits


async def bare(port: int, seconds: float) -> dict[str, float]:
    """A raw-callback subscription to the same nodes that only counts."""
    nodes = [f"M{machine}.{name}" for machine in range(MACHINES) for name in names()]
    async with counting(port, URI, nodes, PUBLISHING_MS) as seen:
        await asyncio.sleep(WARM_UP_S)
        gc.collect()
        gc.freeze()
        meter, before = Meter(), seen()
        meter.begin()
        await asyncio.sleep(seconds - WARM_UP_S - 2)
        share, received = meter.share(), seen() - before
    if not received:
        raise RuntimeError("no changes came: nothing was measured")
    return {"share": share, "per_s": received / (seconds - WARM_UP_S - 2)}


def _start(role: str, core: int, *words: str) -> subprocess.Popen[str]:
    command = [sys.executable, __file__, "--role", role, "--core", str(core), *words]
    path = os.pathsep.join([str(ROOT / "service"), str(Path(__file__).parent)])
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": path})


def measure(seconds: float) -> tuple[dict[str, float], dict[str, float]]:
    """The bare client, then the collector, on the same core and against the same server."""
    cores = sorted(os.sched_getaffinity(0))
    ticks = round(seconds * RATE_HZ)
    found = []
    for role in ("bare", "collect"):
        port = _free_port()
        server = _start("serve", cores[0], "--port", str(port), "--seconds", str(ticks))
        try:
            assert server.stdout is not None
            assert server.stdout.readline() == "ready\n"
            client = _start(role, cores[-1], "--port", str(port), "--seconds", str(seconds))
            text, _ = client.communicate(timeout=seconds + 120)
            found.append(json.loads(text))
        finally:
            server.kill()
            server.wait()
    return found[0], found[1]


def main() -> None:
    """One role, or the whole measurement."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=30.0, help="length of the stream")
    for hidden in ("--role", "--port", "--core"):
        parser.add_argument(hidden, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.core:
        os.sched_setaffinity(0, {int(args.core)})
    if args.role == "serve":
        asyncio.run(serve(int(args.port), int(float(args.seconds))))
    elif args.role:
        role = bare if args.role == "bare" else collect
        print(json.dumps(asyncio.run(role(int(args.port), args.seconds))))
    else:
        _report(*measure(args.seconds), round(args.seconds * RATE_HZ) * NODES)


def _report(plain: dict[str, float], ours: dict[str, float], sent: int) -> None:
    rate = NODES * 1_000_000 / TICK_US
    print(f"rate of the server    {rate:9.0f} changes/s; the bare client received {plain['per_s']:.0f}/s")
    print(f"bare subscription     {plain['share']:9.2f} of a core")
    print(f"collector, whole      {ours['share']:9.2f} of a core; {ours['share'] / plain['share']:.1f} x bare")
    # the values read when the connection was made are stored too
    print(f"changes sent          {sent:9d}")
    print(f"readings stored       {ours['stored']:9.0f}, of them {ours['stored'] - sent:.0f} initial values")
    waits = ", ".join(f"{ours[f'wait_{which}_s']:.2f} s {which}" for which in ("median", "p95", "max"))
    print(f"receipt to commit     {waits}; {ours['commits_per_s']:.1f} commits/s; peak {ours['peak_mb']:.0f} MB")
    kept = ours["stored"] >= sent and ours["wait_max_s"] < LAG_BUDGET_S and ours["share"] <= 1
    print(f"budget (nothing lost, less than {LAG_BUDGET_S:.0f} s, one core): {'kept' if kept else 'MISSED'}")


if __name__ == "__main__":
    main()
