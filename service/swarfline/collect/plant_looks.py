"""What each rule looks at in servers and in the plant as a whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from typing import Any, TypeVar

from swarfline.alerts import Alert
from swarfline.collect.machine_looks import Seen
from swarfline.facts import Energy
from swarfline.measure.energy import QUARTER_US, demand
from swarfline.plant import Plant, Server
from swarfline.plant.alerts import (
    ClockTable,
    ConnectionTable,
    DiskTable,
    PowerPeakTable,
    RuleTable,
    UnmappedTable,
    Where,
)
from swarfline.store import Queries
from swarfline.watch.rules import clock_offset, codes_unmapped, connection_lost, disk, power_peak

R = TypeVar("R", bound=RuleTable)

CONNECTED = "connected"


class PlantView:
    """Servers and plant at one moment; ``standing`` are the alerts that stand."""

    def __init__(
        self, plant: Plant, queries: Queries, now_us: int, standing: Sequence[Alert], free_bytes: int | None
    ) -> None:
        self.plant, self.queries, self.now_us = plant, queries, now_us
        self.standing, self.free_bytes = standing, free_bytes

    @cached_property
    def servers(self) -> list[tuple[Server, dict[str, Any]]]:
        """The plant's servers of which a status is known."""
        told = {status["server"]: status for status in self.queries.servers()}
        return [(server, told[server.id]) for server in self.plant.servers if server.id in told]

    @property
    def connected(self) -> dict[str, int]:
        """Since when each server is connected, µs; of those that are."""
        return {s.id: int(told["since_us"]) for s, told in self.servers if told["state"] == CONNECTED}

    def settings(self, kind: type[R], server: str = "", cell: str = "") -> R:
        """A rule's settings for a server, a cell or the plant."""
        return self.plant.alerts.settings(kind, Where(server=server, cell=cell))


def _connection(view: PlantView) -> Iterator[Seen]:
    tables = {server.id: view.settings(ConnectionTable, server.id) for server, _ in view.servers}
    links = [
        connection_lost.Link(
            server.id, told["state"] == CONNECTED, told.get("last_error", ""), [m.id for m in server.machines]
        )
        for server, told in view.servers
        if tables[server.id].enabled
    ]
    own = (connection_lost.NAME, "", connection_lost.PLANT)
    stands = any(alert.subject_key == own for alert in view.standing)
    whole, *each = connection_lost.see(links, view.settings(ConnectionTable), stands)
    yield whole, view.settings(ConnectionTable)
    yield from zip(each, (tables[link.server] for link in links), strict=True)


def _clock(view: PlantView) -> Iterator[Seen]:
    for server, told in view.servers:
        if server.clock == "ours":
            table = view.settings(ClockTable, server.id)
            yield clock_offset.see(server.id, told.get("clock_offset_us"), table), table


def _unmapped(view: PlantView) -> Iterator[Seen]:
    for server, told in view.servers:
        yield codes_unmapped.see(server.id, told.get("unmapped", {})), view.settings(UnmappedTable, server.id)


def _power(view: PlantView) -> Iterator[Seen]:
    for cell in ("", *view.plant.alerts.cells(PowerPeakTable.rule)):
        table = view.settings(PowerPeakTable, cell=cell)
        if table.limit_kw is not None:
            yield power_peak.see(_quarters(view, cell), table), table


def _quarters(view: PlantView, cell: str) -> power_peak.Quarters:
    machines = [
        machine.id
        for machine in view.plant.machines
        if (not cell or machine.cell == cell) and {"power", "energy"} & set(view.plant.nodes_of(machine))
    ]
    running_us = view.now_us // QUARTER_US * QUARTER_US
    span = running_us - QUARTER_US, running_us + QUARTER_US
    energies = [e for m in machines for e in view.queries.facts(Energy, m, *span)]
    whole, running = demand(energies, span, max(1, len(machines)))
    return power_peak.Quarters(cell, whole.mean_w, float(whole.coverage), running.mean_w, running_us)


def _disk(view: PlantView) -> Iterator[Seen]:
    if view.free_bytes is not None:
        table = view.settings(DiskTable)
        yield disk.see(view.free_bytes, table), table


Look = Callable[[PlantView], Iterator[Seen]]

OF_SERVERS: dict[str, Look] = {
    connection_lost.NAME: _connection,
    clock_offset.NAME: _clock,
    codes_unmapped.NAME: _unmapped,
}
"""Rules about connections, run often: they read the servers' states alone."""

OF_PLANT: dict[str, Look] = {power_peak.NAME: _power, disk.NAME: _disk}
"""Rules about the plant as a whole."""
