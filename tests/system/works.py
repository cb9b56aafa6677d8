"""One works under test: a simulator, a service, and the files of both."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from .accounts import Told
from .brisk_works import write_plant_file
from .processes import Process, Service, Simulator, Timeline, free_port, real_us
from .truth import Truth
from .waiting import until

START_US = 1_772_435_690_000_000
"""2026-03-02 07:14:50 UTC: shortly before a quarter of an hour; the run is always the same."""
SEED = 5
"""A run with scrap, aborted cycles, broken tools, setups and breakdowns within its first quarter of an hour."""


class Works:
    """Starts and restarts the processes; the simulated time goes on whatever happens to them."""

    def __init__(self, folder: Path, machines: Sequence[str] = ("N1", "S1", "S2"), speed: int = 60) -> None:
        self.folder = folder
        self.machines = tuple(machines)
        self.port = free_port()
        self.timeline = Timeline(START_US, 0, speed)
        self.plant_file = folder / "plant.toml"
        self._started: list[Process] = []
        write_plant_file(self.plant_file, self.machines, self.port)

    def clear_away(self) -> None:
        """End what still runs."""
        for process in self._started:
            process.clear_away()

    def begin(self, lead_s: float = 0.0) -> None:
        """Simulated time begins so many seconds from now."""
        self.timeline = self.timeline.__class__(START_US, real_us() + int(lead_s * 1e6), self.timeline.speed)

    def start_simulator(self, *more: str) -> Simulator:
        """The simulator, first or again, with more words where they are given."""
        if not self.timeline.epoch_us:
            self.begin()
        made = Simulator(
            self._output("simulator"), self.port, self.timeline, SEED, self.machines, self.folder / "truth.jsonl",
            more=more,
        )  # fmt: skip
        self._started.append(made)
        return made

    def start_service(self) -> Service:
        """The service, first or again."""
        made = Service(self._output("service"), self.plant_file)
        self._started.append(made)
        return made

    def _output(self, name: str) -> Path:
        return self.folder / f"{name}-{len(self._started)}.log"

    @property
    def truth(self) -> Truth:
        """The truth so far."""
        return Truth(self.folder / "truth.jsonl")

    @property
    def plant_us(self) -> int:
        """Plant time now."""
        return self.timeline.plant_us(real_us())

    def every_machine_made(self, cycles: int, since_us: int) -> None:
        """Wait until each machine has worked off so many complete cycles begun after a moment of plant time."""
        until(
            f"{cycles} complete cycles on each machine",
            lambda: all(self.truth.cycles_after(m, since_us) >= cycles for m in self.machines),
            120,
        )

    def end_simulator(self, simulator: Simulator, service: Service) -> dict[str, Told]:
        """End the simulator in order; what the service then tells, by machine."""
        assert simulator.end() == 0
        until("the end of the connection", lambda: service.api.server()["state"] == "waiting")
        until("machines out of sight", lambda: not any(now["linked"] for now in service.api.now()))
        return {machine: Told(service.api, machine) for machine in self.machines}
