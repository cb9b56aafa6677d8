"""Two OPC UA servers in one process: one that lies at random, and a sane one whose truth is written down.

``python fuzzed.py LYING_PORT SANE_PORT SEED TRUTH`` prints ``ready`` and lies from then on. At SIGUSR1 the sane
machine works off its parts and writes a line of JSON for each change to TRUTH. Only asyncua is needed.
"""

from __future__ import annotations

import asyncio
import json
import logging
import random
import signal
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from asyncua import Server, ua

URI = "urn:test:fuzz"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
LYING: dict[str, Any] = {
    "state": 3, "mode": 1, "program": "O1", "program_state": 1, "part_count": 7, "good_count": 6, "lot": "L1",
    "active_tool": 4, "tool_changing": False, "spindle_speed": 9000.0, "spindle_load": 40.0, "power": 5200.0,
    "energy": 1e6, "alarm": False, "alarm_code": "A1", "alarm_text": "Door",
}  # fmt: skip
TOOL = {"number": 11, "used": 12.5, "limit": [60.0, 70.0, 80.0]}
UNDECODABLE = "alarm_code"
PARTS, PART_S, LIE_S = 12, 0.25, 0.004
MARKUP = "<script>alert(1)</script><b>&amp;"

Lie = Callable[[random.Random], Any]
LIES: tuple[Lie, ...] = (
    lambda r: r.choice([float("nan"), float("inf"), float("-inf"), -0.0, 1e308, 5e-324]),
    lambda r: ua.Variant(r.choice([-1, -(2**31), 2**31 - 1, 9999]), ua.VariantType.Int32),
    lambda r: ua.Variant(r.choice([0, 2**64 - 1, r.randrange(2**64)]), ua.VariantType.UInt64),
    lambda r: r.uniform(-100.0, 100.0),
    lambda r: ua.Variant(None, ua.VariantType.Null),
    lambda r: ua.Variant(None, ua.VariantType.String),
    lambda r: ua.Variant([r.random() for _ in range(r.randrange(5))], ua.VariantType.Double),
    lambda r: ua.Variant([1.0, 2.0, 3.0, 4.0], ua.VariantType.Double, Dimensions=[2, 2]),
    lambda r: "x" * (1_000_000 if r.random() < 0.02 else 300),
    lambda r: r.choice(["", "running", "\x00\x1b[2J\r\n", "T\udcfcr", "abc\u202egnp", MARKUP, "4"]),
    lambda r: ua.LocalizedText(MARKUP, "en"),
    lambda r: ua.LocalizedText(),
    lambda r: ua.QualifiedName(MARKUP, 3),
    lambda r: ua.NodeId(r.randrange(2**31), r.randrange(9)),
    lambda r: ua.Variant(r.randbytes(5), ua.VariantType.ByteString),
    lambda r: ua.ExtensionObject(TypeId=ua.NodeId(r.randrange(5000, 9000), 7), Body=r.randbytes(30)),
    lambda r: ua.EUInformation(UnitId=7, DisplayName=ua.LocalizedText(MARKUP)),
    lambda r: r.random() < 0.5,
    lambda r: datetime(2020, 2, 29, tzinfo=UTC),
    lambda r: r.choice([0, 1, 2, 3, 4, 17]),
)
STATUSES = (
    0, 0, 0, 0, 0x0096_0000, 0x0000_0400, 0x0000_0480, 0x0000_FFFF, 0x408F_0000, 0x4090_0480, 0x8000_0000,
    0x8031_0000, 0x80AB_FFFF, 0xC000_0000, 0xFFFF_FFFF,
)  # fmt: skip
FAR = (datetime(1601, 1, 1, tzinfo=UTC), datetime(1602, 5, 5, tzinfo=UTC), datetime(1970, 1, 1, tzinfo=UTC),
       datetime(2100, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC), None)  # fmt: skip


def stamp(rng: random.Random) -> datetime | None:
    """Mostly now; else missing, or far away."""
    if rng.random() < 0.7:
        return datetime.now(UTC)
    return rng.choice([*FAR, datetime.now(UTC) + timedelta(seconds=rng.uniform(-1e6, 1e6))])


def lie(rng: random.Random) -> ua.DataValue:
    """A value of any kind, under any status, at any time."""
    raw = rng.choice(LIES)(rng)
    variant = raw if isinstance(raw, ua.Variant) else ua.Variant(raw)
    return ua.DataValue(variant, ua.StatusCode(rng.choice(STATUSES)), stamp(rng), stamp(rng))


class Place:
    """One server with its variables, which take values of any type."""

    def __init__(self, port: int) -> None:
        self.server = Server()
        self._port = port
        self._nodes: dict[str, ua.NodeId] = {}

    async def start(self, values: dict[str, Any]) -> None:
        """Serve these variables."""
        await self.server.init()
        self.server.set_endpoint(f"opc.tcp://127.0.0.1:{self._port}/fuzz")
        self.server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
        self.server.iserver.aspace._is_expected_variant_type = lambda *_: True
        index = await self.server.register_namespace(URI)
        for name, value in values.items():
            where = f"ns={index};s={name}"
            node = await self.server.nodes.objects.add_variable(where, f"{index}:{name}", value)
            self._nodes[name] = node.nodeid
        await self.server.start()

    async def say(self, name: str, data: ua.DataValue) -> None:
        """One value."""
        await self.server.iserver.aspace.write_attribute_value(self._nodes[name], ua.AttributeIds.Value, data)


async def lie_on(place: Place, rng: random.Random) -> None:
    """One lie after the other, and now and then a value whose bytes cannot be decoded."""
    names = [*LYING, *(f"tool.{field}" for field in TOOL)]
    broken = ua.Variant(ua.ExtensionObject(TypeId=ua.NodeId(889), Body=b"\xff"))
    while True:
        await place.say(rng.choice(names), lie(rng))
        if rng.random() < 0.005:
            await place.say(UNDECODABLE, ua.DataValue(broken, SourceTimestamp=datetime.now(UTC)))
        await asyncio.sleep(LIE_S)


async def work(place: Place, truth: Path) -> None:
    """Each part: executing, then not, and one more counted."""
    with truth.open("w", encoding="utf-8") as file:
        for part in range(1, PARTS + 1):
            for name, value in (("state", 3), ("state", 2), ("part_count", part)):
                at = datetime.now(UTC)
                await place.say(name, ua.DataValue(ua.Variant(value), SourceTimestamp=at, ServerTimestamp=at))
                at_us = (at - EPOCH) // timedelta(microseconds=1)
                file.write(json.dumps({"name": name, "value": value, "at_us": at_us}) + "\n")
                file.flush()
                await asyncio.sleep(PART_S / 2 if name == "state" else 0.01)


async def main(lying_port: int, sane_port: int, seed: int, truth: Path) -> None:
    """Both servers until ended."""
    logging.getLogger("asyncua").setLevel(logging.CRITICAL)
    lying, sane = Place(lying_port), Place(sane_port)
    await lying.start({**LYING, **{f"tool.{field}": value for field, value in TOOL.items()}})
    await sane.start({"state": 2, "part_count": 0})
    begin = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGUSR1, begin.set)
    lies = asyncio.create_task(lie_on(lying, random.Random(seed)))
    print("ready", flush=True)
    await begin.wait()
    await work(sane, truth)
    await lies


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4])))
