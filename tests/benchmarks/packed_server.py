"""An OPC UA server of 50 machines whose notifications cost it next to nothing: for measuring clients.

asyncua's server answers everything but the values: those are packed here, for all nodes of a tick at once, as OPC
10000-6 writes a DataChangeNotification, and put into its publish responses. Node ``M7.used3`` and so on.
"""

from __future__ import annotations

import asyncio
import struct
import time
from collections.abc import Iterator
from typing import Any

import numpy

MACHINES, POTS = 50, 17
RATE_HZ = 5
TICK_US = 1_000_000 // RATE_HZ
URI = "urn:test:benchmark"
PROGRAM = "O1201"
CYCLE_TICKS, TOOL_TICKS = 200, 25
_TO_FILETIME_US = 11_644_473_600_000_000
"""From 1970 back to 1601, where OPC UA's times begin."""
_BOTH_TIMES = 0x0D
"""DataValue with value, source time and server time."""
_DATA_CHANGE = 811
"""NodeId of the binary encoding of DataChangeNotification."""

WHOLE, REAL, FLAG, TEXT = "int32", "double", "boolean", "string"
_VARIANT = {WHOLE: 6, REAL: 11, FLAG: 1, TEXT: 12}
_TEXT = [("length", "<i4"), ("text", f"S{len(PROGRAM)}")]
_FIELD: dict[str, Any] = {WHOLE: "<i4", REAL: "<f8", FLAG: "?", TEXT: _TEXT}


def names() -> dict[str, str]:
    """Kind by name of the 80 nodes of a machine."""
    plain = {
        "state": WHOLE, "program": TEXT, "program_state": WHOLE, "part_count": WHOLE, "active_tool": WHOLE,
        "tool_changing": FLAG, "positioning": FLAG, "spindle_speed": REAL, "spindle_load": REAL, "power": REAL,
        "feed_rate": REAL, "energy": REAL,
    }  # fmt: skip
    tool = {"number": WHOLE, "limit": REAL, "used": REAL, "locked": FLAG}
    return plain | {f"{field}{pot}": kind for pot in range(1, POTS + 1) for field, kind in tool.items()}


def value_at(name: str, tick: int) -> Any:
    """What a node says at a tick: cycles of 40 s, tools that wear, analog values that never rest."""
    field = name.rstrip("0123456789")
    return {
        "number": int(name.removeprefix(field) or 0), "limit": 500_000.0, "used": float(tick), "locked": False,
        "state": 3, "program": PROGRAM, "program_state": 2 if tick % CYCLE_TICKS == 0 else 1,
        "part_count": tick // CYCLE_TICKS, "active_tool": tick // TOOL_TICKS % 8 + 1,
        "tool_changing": tick % TOOL_TICKS < 6, "positioning": 6 <= tick % TOOL_TICKS < 9,
        "spindle_speed": 9000.0 + tick % 97, "spindle_load": 40.0 + tick % 31, "power": 5200.0 + tick % 89,
        "feed_rate": 2500.0 + tick % 83, "energy": tick * 0.1,
    }[field]  # fmt: skip


class Packer:
    """The notifications of every node, packed anew for each tick."""

    def __init__(self, handles: dict[str, list[int]]) -> None:
        """``handles``: the client handles of each node name, one per machine of the subscription."""
        self._names: dict[str, list[str]] = {}
        self._records: dict[str, Any] = {}
        for kind, field in _FIELD.items():
            chosen = [name for name, of in names().items() if of == kind]
            record = numpy.dtype(
                [
                    ("handle", "<u4"),
                    ("mask", "u1"),
                    ("variant", "u1"),
                    ("value", field),
                    ("source", "<i8"),
                    ("server", "<i8"),
                ]
            )
            rows = numpy.zeros((len(chosen), len(handles[chosen[0]])), record)
            rows["handle"] = [handles[name] for name in chosen]
            rows["mask"], rows["variant"] = _BOTH_TIMES, _VARIANT[kind]
            self._names[kind], self._records[kind] = chosen, rows

    @property
    def count(self) -> int:
        """Changes per tick."""
        return sum(rows.size for rows in self._records.values())

    def tick(self, tick: int, at_us: int) -> bytes:
        """All nodes at one tick."""
        stamp = (at_us + _TO_FILETIME_US) * 10
        for kind, rows in self._records.items():
            rows["source"] = rows["server"] = stamp
            for row, name in zip(rows, self._names[kind], strict=True):
                value = value_at(name, tick)
                row["value"] = (len(value), value.encode()) if kind == TEXT else value
        return b"".join(rows.tobytes() for rows in self._records.values())


class Feed:
    """Which ticks a subscription has been told; after ``ticks`` of them it falls silent."""

    def __init__(self, ticks: int, rate_hz: float = RATE_HZ) -> None:
        self._left = ticks
        self._tick_us = round(1_000_000 / rate_hz)
        self._packer: Packer | None = None
        self._tick = 0
        self._next_us = 0

    def begin(self, handles: dict[str, list[int]]) -> None:
        """The subscription is complete: from now on it is fed."""
        self._packer = Packer(handles)
        self._next_us = time.time_ns() // 1000

    def due(self) -> Iterator[bytes]:
        """The ticks up to now, packed."""
        while self._packer is not None and self._left > 0 and self._next_us <= time.time_ns() // 1000:
            yield self._packer.tick(self._tick, self._next_us)
            self._tick += 1
            self._left -= 1
            self._next_us += self._tick_us

    def message(self) -> bytes | None:
        """A DataChangeNotification of what is due; None when nothing is."""
        ticks = list(self.due())
        if not ticks or self._packer is None:
            return None
        return struct.pack("<i", len(ticks) * self._packer.count) + b"".join(ticks) + struct.pack("<i", -1)


async def serve(port: int, ticks: int, together: int = MACHINES, rate_hz: float = RATE_HZ) -> None:
    """Serve for ever; each subscription with all nodes of ``together`` machines is told ``ticks`` ticks.

    It is fed within a second after it is whole.
    """
    from asyncua import Server, ua
    from asyncua.server.internal_subscription import InternalSubscription

    feeds: dict[int, Feed] = {}
    plain = InternalSubscription._pop_triggered_datachanges
    waiting = InternalSubscription.has_published_results

    def pop(subscription: Any, result: Any) -> None:
        plain(subscription, result)
        feed = feeds.get(subscription.data.SubscriptionId)
        body = feed.message() if feed else None
        if body is not None:
            packed = ua.ExtensionObject(ua.NodeId(_DATA_CHANGE, 0), body)
            result.NotificationMessage.NotificationData.append(packed)

    InternalSubscription._pop_triggered_datachanges = pop
    InternalSubscription.has_published_results = lambda s: s.data.SubscriptionId in feeds or waiting(s)
    server = Server()
    await server.init()
    server.set_endpoint(f"opc.tcp://127.0.0.1:{port}/benchmark")
    server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
    index = await server.register_namespace(URI)
    where = {}
    variant = {WHOLE: ua.VariantType.Int32, REAL: ua.VariantType.Double, FLAG: ua.VariantType.Boolean}
    for machine in range(MACHINES):
        for name, kind in names().items():
            first = ua.Variant(value_at(name, 0), variant.get(kind, ua.VariantType.String))
            node = await server.nodes.objects.add_variable(f"ns={index};s=M{machine}.{name}", f"{index}:x", first)
            where[node.nodeid] = name
    async with server:
        print("ready", flush=True)
        while True:
            await asyncio.sleep(1)
            for number, subscription in server.iserver.subscription_service.subscriptions.items():
                handles: dict[str, list[int]] = {}
                for item in subscription.monitored_item_srv._monitored_items.values():
                    name = where.get(item.read_value_id.NodeId)
                    if name is not None:
                        handles.setdefault(name, []).append(item.client_handle)
                if number not in feeds and sum(map(len, handles.values())) >= together * len(names()):
                    feeds[number] = Feed(ticks, rate_hz)
                    feeds[number].begin(handles)
