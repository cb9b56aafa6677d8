"""Run a Supervisor in a test and look at what it hands over."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Mapping
from typing import Any

from swarfline.connect import Before, Supervisor
from swarfline.connect.links import NOTHING_BEFORE
from swarfline.plant.load import check
from swarfline.signals import LINK, Reading

URI = "urn:test:line"
PATIENCE_S = 60.0
"""Ends a test that would hang; judges no speed."""
STATE_AND_COUNT = {"state": "t:State", "part_count": "t:Count"}


def plant_file(url: str, machines: dict[str, dict[str, Any]], **server: Any) -> dict[str, Any]:
    """The raw plant file of one server with quick intervals; ``machines``: id → keys of its table."""
    return {
        "plant": {"name": "Test works", "time_zone": "Europe/Madrid"},
        "namespaces": {"t": URI},
        "servers": [
            {
                "id": "line", "endpoint": url, "publishing_ms": 100, "sampling_ms": 20, "sampling_analog_ms": 20,
                "keepalive_s": 0.5, "timeout_s": 2.0,
                "machines": [{"id": name, "root": f"t:{name}", **table} for name, table in machines.items()],
                **server,
            }
        ],
    }  # fmt: skip


class Watching:
    """A supervisor at work; ``got`` is everything that the sink took, in order."""

    def __init__(self, raw: dict[str, Any], before: Mapping[str, Before] = NOTHING_BEFORE) -> None:
        plant = check(raw, "plant.toml")
        self.got: list[Reading] = []
        self.batches: list[list[Reading]] = []
        self.room = True
        self.supervisor = Supervisor(plant.servers[0], plant, self._sink, before)

    def _sink(self, batch: list[Reading]) -> bool:
        if self.room:
            self.batches.append(batch)
            self.got += batch
        return self.room

    async def __aenter__(self) -> Watching:
        self._task = asyncio.create_task(self.supervisor.run())
        return self

    async def __aexit__(self, *_: object) -> None:
        self._task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._task

    async def until(self, true: Callable[[], Any], limit_s: float = PATIENCE_S) -> None:
        """Wait for something to become true; fail with what came instead."""
        loop = asyncio.get_running_loop()
        end_s = loop.time() + limit_s
        while not true():
            assert not self._task.done(), self._task
            assert loop.time() < end_s, (self.supervisor.status, self.got[-20:])
            await asyncio.sleep(0.02)

    async def until_link(
        self, value: str, times: int = 1, machine: str = "N1", limit_s: float = PATIENCE_S
    ) -> None:
        """Wait until a machine's link was said to be ``value`` so often."""
        await self.until(lambda: len(self.links(value, machine)) >= times, limit_s)

    def of(self, signal: str, machine: str = "N1") -> list[Reading]:
        """The readings of one signal."""
        return [reading for reading in self.got if reading[:2] == (machine, signal)]

    def values(self, signal: str, machine: str = "N1") -> list[Any]:
        """The values of one signal."""
        return [reading.value for reading in self.of(signal, machine)]

    def links(self, value: str, machine: str = "N1") -> list[Reading]:
        """The link readings of one kind."""
        return [reading for reading in self.of(LINK, machine) if reading.value == value]
