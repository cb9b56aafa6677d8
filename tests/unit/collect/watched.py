"""A plant whose facts and states are put into a real database by hand, and the watching over it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from collect.line import SECOND, START, raw_plant
from swarfline.alerts import Alert
from swarfline.collect.watching import AT_ONCE, Watching
from swarfline.facts import Fact
from swarfline.plant.load import check
from swarfline.store import Batch, Store

MINUTE, HOUR = 60 * SECOND, 3600 * SECOND
NOW = START + 20 * HOUR


def plant_with(servers: dict[str, list[str]], **tables: Any) -> dict[str, Any]:
    """The parsed plant file of machines by server."""
    raw = raw_plant(*(m for machines in servers.values() for m in machines), **tables)
    machines = {m["id"]: m for m in raw["servers"][0]["machines"]}
    raw["servers"] = [
        {
            "id": server,
            "endpoint": f"opc.tcp://127.0.0.1:9/{server}",
            "machines": [machines[m] for m in of],
        }
        for server, of in servers.items()
    ]
    return raw


class Watched:
    """The watching of a plant, its store, and a clock that stands until it is moved."""

    def __init__(self, folder: Path, servers: dict[str, list[str]] | None = None, **tables: Any) -> None:
        self.folder, self.now_us = folder, NOW
        self.servers = servers or {"line": ["N1"]}
        self.store = Store.open("sqlite:///test.db", folder / "plant.toml")
        self.writer = self.store.writer()
        self.begin(**tables)

    def begin(self, **tables: Any) -> None:
        """Start watching, or start it anew with other settings."""
        plant = check(plant_with(self.servers, **tables), str(self.folder / "plant.toml"))
        self.watching = Watching(plant, self.store, lambda: self.now_us)

    def facts(self, *facts: Fact) -> None:
        """They are stored."""
        self.writer.commit(Batch(facts=facts))

    def tells(self, machine: str, condition: str, since_us: int, **more: Any) -> None:
        """The machine's present picture."""
        told = {
            "machine": machine, "at_us": self.now_us, "received_us": self.now_us, "linked": True,
            "condition": condition, "since_us": since_us, "values": {}, "cycle": None,
        }  # fmt: skip
        self.writer.commit(Batch(now={machine: {**told, **more}}))

    def links(self, **states: Any) -> None:
        """The servers' states: connected or not, or more of them."""
        told = {name: s if isinstance(s, dict) else {"state": s} for name, s in states.items()}
        status = {"since_us": START, "last_error": "", "unmapped": {}, "clock_offset_us": 0}
        states = {name: {"server": name, **status, **more} for name, more in told.items()}
        self.writer.commit(Batch(servers=states, seen_us=self.now_us))

    def look(self, later_s: float = 0) -> list[str]:
        """Look at all of it after some time; the alerts that stand, as ``rule subject`` or ``rule machine``."""
        self.now_us += round(later_s * SECOND)
        machines = sum(len(of) for of in self.servers.values())
        for _ in range(machines + -(-machines // AT_ONCE)):
            changes = self.watching.look()
            if changes is not None:
                self.writer.commit(changes)
        return self.standing()

    def alerts(self) -> list[Alert]:
        """Every alert there was, newest first."""
        return self.store.queries.alerts()

    def standing(self) -> list[str]:
        """What stands."""
        found = [alert for alert in self.alerts() if alert.cleared_us is None]
        return sorted(" ".join((a.rule, a.machine or a.subject)) for a in found)
