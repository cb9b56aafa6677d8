"""CPU per delivered change, receive to Reading, against a bare raw-callback subscription.

``python tests/benchmarks/collect_ratio.py [SECONDS]`` starts one server with 1000 items that change ten times a
second, then in turn a bare subscription that throws values away and a Supervisor into a sink that counts, each
in a process of its own, and prints the median ratio of their processor times per change. Only the ratio says
something: the absolute times are this machine's at this moment.
"""

from __future__ import annotations

import asyncio
import gc
import json
import os
import socket
import statistics
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from bare_client import QUEUE, SAMPLING_MS, counting

ROOT = Path(__file__).parents[2]
BUDGET = 1.5
ROUNDS = 5
MACHINES, TOOLS = 20, 12
RATE_HZ = 10
URI = "urn:test:benchmark"
PLAIN: dict[str, Any] = {
    "state": 3, "mode": 1, "program": "O1", "program_state": 1, "part_count": 7, "good_count": 6,
    "active_tool": 4, "tool_changing": False, "positioning": True, "spindle_speed": 9000.0,
    "spindle_load": 40.0, "feed_rate": 2500.0, "power": 5200.0, "energy": 1e6,
}  # fmt: skip
TOOL = {"number": 11, "used": 12.5, "limit": 60.0}
PUBLISHING_MS = 500


def nodes() -> dict[str, Any]:
    """First value by node name: 20 machines with 50 nodes each."""
    found = {}
    for machine in range(MACHINES):
        found |= {f"M{machine}.{name}": value for name, value in PLAIN.items()}
        found |= {f"M{machine}.T{t}.{field}": value for t in range(TOOLS) for field, value in TOOL.items()}
    return found


async def serve(port: int) -> None:
    """The server process: change everything ten times a second, as cheaply as asyncua can."""
    from asyncua import Server, ua
    from asyncua.server.monitored_item_service import MonitoredItemValues

    # half of the server's time would go into copies of values that nobody changes
    MonitoredItemValues.set_current_datavalue = _keep_reference
    server = Server()
    await server.init()
    server.set_endpoint(f"opc.tcp://127.0.0.1:{port}/benchmark")
    server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
    index = await server.register_namespace(URI)
    places = []
    for name, value in nodes().items():
        node = await server.nodes.objects.add_variable(f"ns={index};s={name}", f"{index}:{name}", value)
        places.append((node.nodeid, [ua.Variant(shown) for shown in _two(value)]))
    async with server:
        print("ready", flush=True)
        turn = 0
        while True:
            turn += 1
            now = datetime.now(UTC)
            for node_id, values in places:
                data = ua.DataValue(values[turn % 2], SourceTimestamp=now, ServerTimestamp=now)
                await server.iserver.aspace.write_attribute_value(node_id, ua.AttributeIds.Value, data)
            await asyncio.sleep(1 / RATE_HZ - time.time() % (1 / RATE_HZ))


def _keep_reference(values: Any, now: Any) -> None:
    values.old_dvalue, values.current_dvalue = values.current_dvalue, now


def _two(value: Any) -> tuple[Any, Any]:
    """The first value and another one that the signal may have too."""
    if isinstance(value, bool):
        return value, not value
    return (value, value + "x") if isinstance(value, str) else (value, value - 1)


async def bare(port: int, seconds: float) -> tuple[int, float]:
    """(changes, processor seconds) of a subscription whose callback only counts."""
    async with counting(port, URI, nodes(), PUBLISHING_MS) as seen:
        return await _spent(seen, seconds)


async def supervised(port: int, seconds: float) -> tuple[int, float]:
    """(changes, processor seconds) of a Supervisor into a sink that counts."""
    from swarfline.connect import Supervisor
    from swarfline.plant.load import check

    plant = check(plant_file(port), "plant.toml")
    seen = 0

    def sink(batch: list[Any]) -> bool:
        nonlocal seen
        seen += len(batch)
        return True

    supervisor = Supervisor(plant.servers[0], plant, sink)
    task = asyncio.create_task(supervisor.run())
    while not seen:
        await asyncio.sleep(0.05)
    result = await _spent(lambda: supervisor.status.changes, seconds)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    return result


def plant_file(port: int) -> dict[str, Any]:
    """The raw plant file for the server's nodes."""
    return {
        "plant": {"name": "Benchmark", "time_zone": "UTC"},
        "servers": [
            {
                "id": "line", "endpoint": f"opc.tcp://127.0.0.1:{port}/benchmark",
                "publishing_ms": PUBLISHING_MS, "sampling_ms": SAMPLING_MS, "sampling_analog_ms": SAMPLING_MS,
                "queue_size": QUEUE, "machines": [_machine(number) for number in range(MACHINES)],
            }
        ],
    }  # fmt: skip


def _machine(number: int) -> dict[str, Any]:
    start = f"nsu={URI};s=M{number}."
    each = {str(tool): {field: f"{start}T{tool}.{field}" for field in TOOL} for tool in range(TOOLS)}
    return {"id": f"M{number}", "signals": {name: start + name for name in PLAIN}, "tools": {"each": each}}


async def _spent(changes: Any, seconds: float) -> tuple[int, float]:
    await asyncio.sleep(1.5)
    # modules live as long as the process: without this the collector looks through them again and again, and
    # the ratio would compare the sizes of two programs
    gc.collect()
    gc.freeze()
    before, cpu_s = changes(), time.process_time()
    await asyncio.sleep(seconds)
    return changes() - before, time.process_time() - cpu_s


def measure(seconds: float = 4.0, rounds: int = ROUNDS) -> dict[str, float]:
    """Alternate both clients; µs per change of each (medians), the median ratio, and changes per second."""
    port = _free_port()
    server = _start("serve", port, 0.0)
    try:
        assert server.stdout is not None
        assert server.stdout.readline() == "ready\n"
        pairs = [(_client("bare", port, seconds), _client("supervised", port, seconds)) for _ in range(rounds)]
    finally:
        server.kill()
        server.wait()
    return {
        "bare_us": statistics.median(one["us"] for one, _ in pairs),
        "supervised_us": statistics.median(two["us"] for _, two in pairs),
        "ratio": statistics.median(two["us"] / one["us"] for one, two in pairs),
        "bare_per_s": statistics.median(one["per_s"] for one, _ in pairs),
        "supervised_per_s": statistics.median(two["per_s"] for _, two in pairs),
    }


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _start(role: str, port: int, seconds: float) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "service")}
    command = [sys.executable, __file__, role, str(port), str(seconds)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)


def _client(role: str, port: int, seconds: float) -> dict[str, float]:
    process = _start(role, port, seconds)
    try:
        text, _ = process.communicate(timeout=seconds + 30)
    finally:
        process.kill()
    changes, cpu_s = json.loads(text)
    return {"us": cpu_s / changes * 1e6, "per_s": changes / seconds}


def main(arguments: list[str]) -> None:
    """One role of the three, or the whole measurement."""
    if arguments and arguments[0] == "serve":
        asyncio.run(serve(int(arguments[1])))
    elif arguments and arguments[0] in ("bare", "supervised"):
        role = bare if arguments[0] == "bare" else supervised
        print(json.dumps(asyncio.run(role(int(arguments[1]), float(arguments[2])))))
    else:
        found = measure(*(float(argument) for argument in arguments[:1]))
        for name, value in found.items():
            print(f"{name:18} {value:10.2f}")
        print(f"budget of the ratio {BUDGET}: {'kept' if found['ratio'] <= BUDGET else 'MISSED'}")


if __name__ == "__main__":
    main(sys.argv[1:])
