"""A small OPC UA server to watch: in the test's own loop, or as a process that can be frozen and killed.

As a process: ``python plc.py PORT [--other-order]`` prints ``ready`` and counts parts ten times a second.
"""

from __future__ import annotations

import asyncio
import logging
import sys
from datetime import UTC, datetime
from typing import Any

from asyncua import Server, ua

URI = "urn:test:line"
VENDOR_URI = "urn:test:vendor"
MT = "http://opcfoundation.org/UA/MachineTool/"
UNITS = {"W": "WTT", "kW": "KWT", "h": "HUR", "min": "MIN", "mm": "MMT", "m": "MTR", "bar": "BAR", "%": "P1"}


def eu(symbol: str) -> ua.EUInformation:
    code = UNITS[symbol].encode()
    return ua.EUInformation(
        NamespaceUri="http://www.opcfoundation.org/UA/units/un/cefact",
        UnitId=int.from_bytes(code, "big"),
        DisplayName=ua.LocalizedText(symbol),
    )


class Plc:
    """The server and what tests do to it."""

    def __init__(self, port: int, other_order: bool = False) -> None:
        self.url = f"opc.tcp://127.0.0.1:{port}/line"
        self._other_order = other_order
        self.server = Server()
        self.nodes: dict[str, Any] = {}

    async def __aenter__(self) -> Plc:
        logging.getLogger("asyncua").setLevel(logging.CRITICAL)
        await self.server.init()
        self.server.set_endpoint(self.url)
        self.server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
        uris = [VENDOR_URI, MT, URI] if self._other_order else [URI, VENDOR_URI, MT]
        for uri in uris:
            await self.server.register_namespace(uri)
        self.index = await self.server.get_namespace_index(URI)
        self.mt = await self.server.get_namespace_index(MT)
        await self.server.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.server.stop()

    async def machine(self, name: str, **values: Any) -> Any:
        """A machine object with one variable per value; ``N1/State`` and so on in ``nodes``."""
        place = await self.server.nodes.objects.add_object(self.index, name)
        self.nodes[name] = place
        for key, value in values.items():
            await self.variable(name, key, value)
        return place

    async def variable(self, machine: str, key: str, value: Any, unit: str | None = None) -> Any:
        variant = value if isinstance(value, ua.Variant) else ua.Variant(value)
        where = f"ns={self.index};s={machine}.{key}"
        node = await self.nodes[machine].add_variable(where, f"{self.index}:{key}", variant)
        if unit is not None:
            await node.add_property(0, "EngineeringUnits", eu(unit))
        self.nodes[f"{machine}/{key}"] = node
        return node

    async def write(self, name: str, value: Any, at: datetime | None = None, status: int = 0) -> None:
        """A new value with an exact source time and a status."""
        variant = value if isinstance(value, ua.Variant) else ua.Variant(value)
        stamp = at if at is not None else datetime.now(UTC)
        data = ua.DataValue(
            variant, StatusCode=ua.StatusCode(status), SourceTimestamp=stamp, ServerTimestamp=stamp
        )
        await self.server.iserver.aspace.write_attribute_value(
            self.nodes[name].nodeid, ua.AttributeIds.Value, data
        )

    async def tool(
        self, place: Any, pot: int, *, up: bool, indication: int, unit: str | None, **life: float
    ) -> Any:
        """An OPC 40501-1 tool object below the list ``place``; ``value``, ``start``, ``warning``, ``limit``."""
        mt, name = self.mt, f"Pot{pot}"
        tool = await place.add_object(f"ns={self.index};s=tool{pot}", f"{self.index}:{name}")
        await tool.add_variable(mt, "ControlIdentifier1", ua.Variant(100 + pot, ua.VariantType.UInt32))
        await tool.add_property(mt, "Name", f"Cutter {pot}")
        await tool.add_variable(mt, "Locked", False)
        location = await tool.add_object(mt, "Location")
        await location.add_property(mt, "PlaceNumber", ua.Variant(pot, ua.VariantType.UInt16))
        container = await tool.add_object(mt, "ToolLife")
        entry = await container.add_variable(self.index, "Life", float(life["value"]))
        self.nodes[f"{name}/value"] = entry
        await entry.add_property(mt, "Indication", ua.Variant(indication, ua.VariantType.Int32))
        await entry.add_property(mt, "IsCountingUp", up)
        if unit is not None:
            await entry.add_property(mt, "EngineeringUnits", eu(unit))
        for part, browse in (("start", "StartValue"), ("warning", "WarningValue"), ("limit", "LimitValue")):
            if part in life:
                self.nodes[f"{name}/{part}"] = await entry.add_property(mt, browse, float(life[part]))
        return tool


async def serve(port: int, other_order: bool) -> None:
    async with Plc(port, other_order) as plc:
        for name in ("N1", "N2"):
            await plc.machine(name, State=3, Count=ua.Variant(0, ua.VariantType.UInt32))
        print("ready", flush=True)
        count = 0
        while True:
            await asyncio.sleep(0.1)
            count += 1
            await plc.write("N1/Count", ua.Variant(count, ua.VariantType.UInt32))


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1]), "--other-order" in sys.argv))
