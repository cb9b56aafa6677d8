"""A machine whose part number changes at known times: for measuring the way from a machine to a screen.

    python tests/benchmarks/changing_machine.py PORT

An asyncua server of one machine. Once it has written ``ready`` it names a new part every 0.7 to 1.5 s, at random,
so that changes fall anywhere in a publishing interval, and writes a line for each: the part and the time, µs UTC,
taken right before the value is set.
"""

from __future__ import annotations

import asyncio
import random
import sys
import time

URI = "urn:test:benchmark:changing"
MACHINE = "K1"
LEAST_S, MOST_S = 0.7, 1.5
FIRST = {"state": 3, "part_count": 0, "part": "K00000"}


def plant_tables(port: int, publishing_ms: int) -> str:
    """The tables of a plant file for it."""
    signals = "\n".join(f'{name} = "nsu={URI};s={MACHINE}.{name}"' for name in FIRST)
    return (
        f'\n[[servers]]\nid = "changing"\nendpoint = "opc.tcp://127.0.0.1:{port}/benchmark"\n'
        f'publishing_ms = {publishing_ms}\n\n[[servers.machines]]\nid = "{MACHINE}"\n\n'
        f"[servers.machines.signals]\n{signals}\n"
    )


async def serve(port: int) -> None:
    """Serve, and change, for ever."""
    from asyncua import Server, ua

    server = Server()
    await server.init()
    server.set_endpoint(f"opc.tcp://127.0.0.1:{port}/benchmark")
    server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
    index = await server.register_namespace(URI)
    nodes = {
        name: await server.nodes.objects.add_variable(f"ns={index};s={MACHINE}.{name}", f"{index}:{name}", value)
        for name, value in FIRST.items()
    }
    chance = random.Random(1)
    async with server:
        print("ready", flush=True)
        number = 0
        while True:
            await asyncio.sleep(chance.uniform(LEAST_S, MOST_S))
            number += 1
            part = f"K{number:05d}"
            written_us = time.time_ns() // 1000
            await nodes["part"].write_value(part)
            print(part, written_us, flush=True)


def written(text: str) -> dict[str, int]:
    """When each part was written, µs UTC, from what the process said."""
    lines = [line.split() for line in text.splitlines()]
    return {words[0]: int(words[1]) for words in lines if len(words) == 2 and words[0].startswith("K")}


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1])))
