"""An OPC UA server as a control of the trade may have it, with the oddities that are met all at once.

A secured endpoint and no other; string NodeIds; a status word by code; a 16-bit counter shortly before its
roll-over, without any time stamp; tool lives as arrays; a node whose status is Bad; a clock 90 s ahead; at most
ten nodes per read, and it means it.

``python vendor_like.py PORT TRUTH CERTIFICATE KEY`` prints ``ready``. At SIGUSR1 it makes its parts and writes a
line of JSON for each change to TRUTH, in our time. Only asyncua is needed.
"""

from __future__ import annotations

import asyncio
import json
import logging
import signal
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TextIO

from asyncua import Server, ua
from asyncua.common.utils import ServiceError

URI = "urn:test:vendor-like"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
AHEAD = timedelta(seconds=90)
MOST_NODES = 10
RESTING, CUTTING, FAULTY = 0x0010, 0x0013, 0x8010
FIRST_COUNT, PARTS, PART_S = 65_530, 8, 0.25
FAULT_AFTER = 4
LIVES, MOST = [40.0, 25.0, 10.0, 0.0], [50.0, 50.0, 20.0, 0.0]
TOOL = 2
"""Index of the tool whose life runs down, one for each part."""

COUNT = ua.VariantType.UInt16
VALUES: dict[str, ua.Variant] = {
    "Ch1.Stat.Word": ua.Variant(RESTING, ua.VariantType.UInt16),
    "Ch1.Cnt.Parts": ua.Variant(FIRST_COUNT, COUNT),
    "Ch1.Prog.Name": ua.Variant("O 4711", ua.VariantType.String),
    "Ch1.Spindle.Load": ua.Variant(37.5, ua.VariantType.Float),
    "Ch1.Spindle.Rpm": ua.Variant(8000, ua.VariantType.Int32),
    "Ch1.Axis.Feed": ua.Variant(1200.0, ua.VariantType.Float),
    "Mag.Tool.Number": ua.Variant([11, 12, 13, 0], ua.VariantType.UInt16),
    "Mag.Tool.LifeLeft": ua.Variant(LIVES, ua.VariantType.Float),
    "Mag.Tool.LifeMax": ua.Variant(MOST, ua.VariantType.Float),
    "Ch1.Pwr.Active": ua.Variant(0.0, ua.VariantType.Float),
}
OUT_OF_ORDER = "Ch1.Pwr.Active"
"""Its sensor is not connected: BadSensorFailure."""
UNSTAMPED = ("Ch1.Cnt.Parts",)


class Vendor:
    """The server, and its truth as far as it goes."""

    def __init__(self, port: int, truth: TextIO, certificate: Path, key: Path) -> None:
        self._port = port
        self._certificate, self._key = certificate, key
        self._truth = truth
        self._server = Server()
        self._nodes: dict[str, ua.NodeId] = {}

    async def start(self) -> None:
        """Serve everything; ten nodes per read and no more."""
        server = self._server
        await server.init()
        server.set_endpoint(f"opc.tcp://127.0.0.1:{self._port}/ctrl")
        await server.set_application_uri(URI)
        server.set_security_policy([ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt])
        await server.load_certificate(str(self._certificate))
        await server.load_private_key(str(self._key))
        index = await server.register_namespace(URI)
        for name, value in VALUES.items():
            node = await server.nodes.objects.add_variable(f"ns={index};s={name}", f"{index}:{name}", value)
            self._nodes[name] = node.nodeid
            await self._say(name, value.Value)
        limit = ua.ObjectIds.Server_ServerCapabilities_OperationLimits_MaxNodesPerRead
        await server.get_node(ua.NodeId(limit)).write_value(ua.Variant(MOST_NODES, ua.VariantType.UInt32))
        await server.start()
        self._limit_reads()
        # its own clock instead of the library's
        server.iserver.time_task.cancel()
        self._ticking = asyncio.create_task(self._tick())

    def _limit_reads(self) -> None:
        service = self._server.iserver.attribute_service
        read = service.read

        def limited(params: ua.ReadParameters) -> list[ua.DataValue]:
            if len(params.NodesToRead) > MOST_NODES:
                raise ServiceError(ua.StatusCodes.BadTooManyOperations)
            return read(params)

        service.read = limited

    async def _tick(self) -> None:
        current = ua.NodeId(ua.ObjectIds.Server_ServerStatus_CurrentTime)
        while True:
            now = ua.DataValue(ua.Variant(datetime.now(UTC) + AHEAD, ua.VariantType.DateTime))
            await self._server.iserver.aspace.write_attribute_value(current, ua.AttributeIds.Value, now)
            await asyncio.sleep(0.02)

    async def _say(self, name: str, value: Any) -> None:
        """A node's new value under its own clock."""
        status = ua.StatusCodes.BadSensorFailure if name == OUT_OF_ORDER else ua.StatusCodes.Good
        stamp = None if name in UNSTAMPED else datetime.now(UTC) + AHEAD
        variant = ua.Variant(value, VALUES[name].VariantType)
        data = ua.DataValue(variant, ua.StatusCode(status), stamp, stamp)
        await self._server.iserver.aspace.write_attribute_value(self._nodes[name], ua.AttributeIds.Value, data)

    async def _change(self, name: str, value: Any) -> None:
        at_us = (datetime.now(UTC) - EPOCH) // timedelta(microseconds=1)
        await self._say(name, value)
        self._truth.write(json.dumps({"name": name, "value": value, "at_us": at_us}) + "\n")
        self._truth.flush()

    async def work(self) -> None:
        """Part after part, over the roll-over, with one fault."""
        left = list(LIVES)
        for part in range(1, PARTS + 1):
            await self._change("Ch1.Stat.Word", CUTTING)
            await asyncio.sleep(PART_S)
            left[TOOL] -= 0.5
            await self._change("Mag.Tool.LifeLeft", list(left))
            await self._change("Ch1.Cnt.Parts", (FIRST_COUNT + part) % 2**16)
            await self._change("Ch1.Stat.Word", FAULTY if part == FAULT_AFTER else RESTING)
            await asyncio.sleep(PART_S)


async def main(port: int, truth: Path, certificate: Path, key: Path) -> None:
    """Until ended."""
    logging.getLogger("asyncua").setLevel(logging.CRITICAL)
    begin = asyncio.Event()
    with truth.open("w", encoding="utf-8") as file:
        vendor = Vendor(port, file, certificate, key)
        await vendor.start()
        asyncio.get_running_loop().add_signal_handler(signal.SIGUSR1, begin.set)
        print("ready", flush=True)
        await begin.wait()
        await vendor.work()
        await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), *map(Path, sys.argv[2:])))
