"""The works of the fault suite: many servers behind proxies of their own, one service that watches them all."""

from __future__ import annotations

import asyncio
import hashlib
import subprocess
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from swarfline_sim.namespaces import URIS
from system.accounts import Told
from system.api import Api
from system.brisk_works import MACHINE, write_plant_file
from system.processes import SWARFLINE, Process, Service, Simulator, Timeline, free_port, real_us
from system.truth import Record, Truth
from unit.connect.proxy import Proxy
from unit.connect.secured import certificate, write_pair

SERVER = Path(__file__).with_name("server.py")
APPROVED, OTHER = "approved", "other"
"""Certificates."""

T = TypeVar("T")


class Network:
    """The proxies, in a thread of their own."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self._proxies: list[Proxy] = []

    def proxy(self, port: int) -> Proxy:
        """A proxy before a port."""
        made = Proxy(port)
        asyncio.run_coroutine_threadsafe(made.__aenter__(), self._loop).result()
        self._proxies.append(made)
        return made

    def do(self, what: Callable[[], T]) -> T:
        """Do something with the proxies, between two of their steps."""

        async def run() -> T:
            return what()

        return asyncio.run_coroutine_threadsafe(run(), self._loop).result()

    def close(self) -> None:
        """End them all."""
        for proxy in self._proxies:
            asyncio.run_coroutine_threadsafe(proxy.__aexit__(), self._loop).result()
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()


class Plc:
    """A simulator that can be frozen, killed, and started with another trouble."""

    def __init__(self, folder: Path, name: str, machines: Sequence[str], timeline: Timeline, seed: int) -> None:
        self.machines, self.timeline, self._seed = machines, timeline, seed
        self.folder, self._name, self.port = folder, name, free_port()
        self._started: list[Simulator] = []

    def start(self, trouble: str = "none") -> None:
        """First or again."""
        output = self.folder / f"{self._name}-{len(self._started)}.log"
        program = (str(SERVER), trouble)
        self._started.append(
            Simulator(output, self.port, self.timeline, self._seed, self.machines, self._truth_file, program)
        )

    @property
    def process(self) -> Simulator:
        """The one that runs."""
        return self._started[-1]

    @property
    def _truth_file(self) -> Path:
        return self.folder / f"{self._name}.jsonl"

    @property
    def plant_us(self) -> int:
        """Its plant time now."""
        return self.timeline.plant_us(real_us())

    def clear_away(self) -> None:
        """End what still runs."""
        for process in self._started:
            process.clear_away()

    def truth(self, machine: str) -> Truth:
        """What really happened at one machine, under whatever name it is asked for."""
        return _TruthOf(self._truth_file, machine)


class _TruthOf(Truth):
    def __init__(self, file: Path, machine: str) -> None:
        super().__init__(file)
        self._machine = machine

    def of(self, machine: str, kind: str) -> list[Record]:
        records = super().of(self._machine, kind)
        # a tool taken out before its first use shows in no value: its life was zero, and so is the next one's
        return [r for r in records if r.get("achieved") != 0] if kind == "tool_life" else records


@dataclass(frozen=True)
class Line:
    """A server of the plant file with its only machine, which has the server's name there; behind a proxy."""

    name: str
    machine: str
    plc: Plc
    proxy: Proxy
    policy: str = "None"

    @property
    def truth(self) -> Truth:
        """What really happened."""
        return self.plc.truth(self.machine)

    def told(self, api: Api, since_us: int) -> Told:
        """What the service tells."""
        return Told(api, self.name, since_us)


def write_plant(path: Path, lines: Sequence[Line], clock: str) -> None:
    """The demo's plant file with each line as a server of its own."""
    machines = sorted({line.machine for line in lines})
    write_plant_file(path, machines, 1)
    head, _, rest = path.read_text("utf-8").partition("[[servers]]")
    server, *tables = rest.split(MACHINE)
    by_machine = {machine: table for table in tables for machine in machines if f'id = "{machine}"' in table}
    text = head
    for line in lines:
        own = server.replace('id = "line"', f'id = "{line.name}"').replace(":1/", f":{line.proxy.port}/")
        own = own.replace('clock = "server"', f'clock = "{clock}"\nqueue_size = 2000')
        own += f'[servers.security]\npolicy = "{line.policy}"\n\n'
        table = by_machine[line.machine].replace(f'id = "{line.machine}"', f'id = "{line.name}"')
        text += f"[[servers]]{own}{MACHINE}{table}"
    path.write_text(text, "utf-8")


def approve(plant_file: Path, line: Line) -> None:
    """As a person would who knows the fingerprint from the machine's papers."""
    shown = hashlib.sha256(Path(f"{pair(plant_file.parent.parent, APPROVED)}.der").read_bytes()).hexdigest()
    command = [*SWARFLINE, "trust", str(plant_file), line.name, "--fingerprint", shown]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def pair(folder: Path, which: str) -> str:
    """Files of a certificate of the simulator and of its key, without their endings; made when first asked for."""
    if not (folder / f"{which}.der").exists():
        write_pair(folder, which, certificate(which, uri=URIS["sim"]))
    return str(folder / which)


class Works:
    """What a run starts is ended with it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.network = Network()
        self._plcs: list[Plc] = []
        self._services: list[Process] = []

    def plc(self, name: str, machines: Sequence[str], timeline: Timeline) -> Plc:
        """A simulator to be."""
        made = Plc(self.folder, name, machines, timeline, 5 + len(self._plcs))
        self._plcs.append(made)
        return made

    def line(self, name: str, machine: str, plc: Plc, policy: str = "None") -> Line:
        """A line to be."""
        return Line(name, machine, plc, self.network.proxy(plc.port), policy)

    def service(self, name: str, lines: Sequence[Line], clock: str) -> Service:
        """The service over these lines, whose servers run; certificates that they show are approved."""
        place = self.folder / name
        place.mkdir()
        write_plant(place / "plant.toml", lines, clock)
        for line in lines:
            if line.policy != "None":
                approve(place / "plant.toml", line)
        made = Service(place / "service.log", place / "plant.toml")
        self._services.append(made)
        return made

    def clear_away(self) -> None:
        """End what still runs."""
        for process in (*self._services, *self._plcs):
            process.clear_away()
        self.network.close()
