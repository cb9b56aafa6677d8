"""Servers whose clock is set while they are watched, beside one whose clock is left alone; in real time."""

from __future__ import annotations

import signal
from dataclasses import dataclass

from system.accounts import Told
from system.api import Api
from system.processes import Service, Timeline, real_us
from system.truth import Truth
from system.waiting import until

from .works import Line, Plc, Works

STEPS_S = {"ahead": 90.0, "behind": -90.0, "back": -15.0}
"""Clocks set ahead and back; the last by less than its machine has been in sight, which is told otherwise."""
STEADY = "steady"
MACHINES = {"ahead": "N1", "behind": "N2", "back": "S1", STEADY: "N4"}
NEAR_S = 1.0


@dataclass
class Clock:
    """What came of one step."""

    name: str
    step_s: float
    begun_us: int = 0
    found_us: int | None = None
    offset_s: float | None = None
    told: Told | None = None
    truth: Truth | None = None

    @property
    def title(self) -> str:
        """For the table."""
        return f"clock of the server set by {self.step_s:+.0f} s"

    @property
    def found_after_s(self) -> float | None:
        """How long it took until the new offset was told."""
        return None if self.found_us is None else (self.found_us - self.begun_us) / 1e6


class Clocks:
    """A service of their own, since plant time is real time here."""

    def __init__(self, works: Works) -> None:
        now_us = real_us()
        timeline = Timeline(now_us, now_us, 1)
        self.clocks = {name: Clock(name, step_s) for name, step_s in STEPS_S.items()}
        self._plcs: dict[str, Plc] = {}
        self._lines: list[Line] = []
        for name, machine in MACHINES.items():
            plc = self._plcs[name] = works.plc(name, [machine], timeline)
            self._lines.append(works.line(name, machine, plc))
            plc.start(f"clock:{STEPS_S.get(name, 0.0)}")
        for plc in self._plcs.values():
            plc.process.ready()
        self.since_us = now_us
        self._service: Service = works.service("clocks", self._lines, "ours")

    @property
    def api(self) -> Api:
        """Of their service."""
        return self._service.api

    def step(self) -> None:
        """Set the clocks."""
        for clock in self.clocks.values():
            clock.begun_us = real_us()
            self._plcs[clock.name].process.send(signal.SIGUSR1)

    def look(self) -> None:
        """Take down which steps are noticed."""
        rows = {row["server"]: row for row in self.api.rows("/servers")}
        for clock in self.clocks.values():
            offset_s = rows[clock.name]["clock_offset_s"]
            if clock.found_us is None and offset_s is not None and abs(offset_s - clock.step_s) < NEAR_S:
                clock.found_us, clock.offset_s = real_us(), offset_s

    def end(self) -> tuple[Told, Truth]:
        """End the servers in order; the account of the one that was left alone."""
        for plc in self._plcs.values():
            plc.process.send(signal.SIGTERM)
        for plc in self._plcs.values():
            assert plc.process.wait() == 0
        until("machines out of sight", lambda: not any(now["linked"] for now in self.api.now()))
        accounts = {line.name: (line.told(self.api, self.since_us), line.truth) for line in self._lines}
        for name, clock in self.clocks.items():
            clock.told, clock.truth = accounts[name]
        return accounts[STEADY]

    @property
    def log(self) -> str:
        """Of their service."""
        return self._service.text
