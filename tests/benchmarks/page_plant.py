"""The processes whose pages are measured: the demo with one more machine, and bare pages of the same bytes."""

from __future__ import annotations

import re
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
from bare_pages import record
from changing_machine import plant_tables

sys.path.append(str(Path(__file__).parents[1]))
sys.path.append(str(Path(__file__).parents[1] / "browser"))

from chromium import chromium as chromium

from system.processes import SWARFLINE, Process, free_port

HERE = Path(__file__).parent
ADDRESS = re.compile(r"Open (http://\S+)/\n")
READY = re.compile(r"^(ready)$", re.MULTILINE)
SETTLE_S = 15.0
"""The simulated plant has caught up with the present by then."""


@dataclass
class Running:
    """The processes, and where the pages are."""

    url: str
    service: Process
    changing: Process
    folder: Path


@contextmanager
def ended(process: Process) -> Iterator[Process]:
    """A process that ends with the block, in order if it can."""
    try:
        yield process
    finally:
        if process.runs:
            process.send(signal.SIGINT)
            try:
                process.wait()
            finally:
                process.clear_away()


@contextmanager
def running(folder: Path, days: int, publishing_ms: int) -> Iterator[Running]:
    """The demo with one more machine."""
    import swarfline.demo

    port, place = free_port(), folder / "demo"
    place.mkdir()
    tables = swarfline.demo.PLANT.read_text("utf-8") + plant_tables(port, publishing_ms)
    (place / "plant.toml").write_text(tables, "utf-8")
    demo = [*SWARFLINE, "demo", "--days", str(days), "--port", "0", "--dir", str(place), "--no-browser"]
    with ExitStack() as stack:
        command = [sys.executable, str(HERE / "changing_machine.py"), str(port)]
        changing = stack.enter_context(ended(Process(command, folder / "changing.log")))
        changing.find(READY)
        service = stack.enter_context(ended(Process(demo, folder / "demo.log")))
        url = service.find(ADDRESS)
        _until_linked(url)
        time.sleep(SETTLE_S)
        yield Running(url, service, changing, folder)


def _until_linked(url: str) -> None:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        rows = httpx.get(f"{url}/api/v1/servers", timeout=30).json()["items"]
        if all(row["state"] == "connected" for row in rows):
            return
        time.sleep(0.2)
    raise RuntimeError("the servers were not connected within a minute")


@contextmanager
def bare(plant: Running, paths: list[str], event: bytes, period_s: float) -> Iterator[tuple[str, Process]]:
    """The bare pages: their address and process."""
    port, file = free_port(), plant.folder / "recorded.json"
    record(plant.url, paths, event, period_s, file)
    command = [sys.executable, str(HERE / "bare_pages.py"), str(port), str(file)]
    with ended(Process(command, plant.folder / "bare.log")) as process:
        url, end = f"http://127.0.0.1:{port}", time.monotonic() + 30
        while time.monotonic() < end:
            try:
                httpx.get(url)
                break
            except httpx.TransportError:
                time.sleep(0.05)
        yield url, process
