"""The demo: a simulated plant as a process of its own, its past taken in, then watched live over OPC UA."""

from __future__ import annotations

import asyncio
import json
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import click

from swarfline import clock
from swarfline.collect import Pipeline
from swarfline.history import HistoryError, take_history
from swarfline.operate import listen, operate
from swarfline.plant import load
from swarfline.store import Store

PLANT = Path(__file__).with_name("demo.toml")
ENDPOINT = "opc.tcp://127.0.0.1:4840/swarfline-sim"
ENDPOINT_USED = re.compile(r"opc\.tcp://127\.0\.0\.1:\d+/swarfline-sim")
PORT_USED = re.compile(r"\bport = \d+")
READY = "swarfline-sim ready "
DAY_US = 86_400_000_000
END_S = 5.0


class DemoError(Exception):
    """The demo cannot go on; the message says what to do."""


@dataclass(frozen=True)
class Place:
    """The demo's folder: plant file, database, and the note of when the simulated plant began."""

    folder: Path

    @property
    def plant(self) -> Path:
        """The plant file."""
        return self.folder / "plant.toml"

    @property
    def note(self) -> Path:
        """Written when the past is taken in whole."""
        return self.folder / "demo.json"

    @property
    def database(self) -> Path:
        """The database file that the plant file names."""
        return self.folder / "swarfline.db"

    def begun_us(self) -> int | None:
        """Start of the simulated plant that this folder holds, None for a fresh folder."""
        if self.note.is_file():
            return int(json.loads(self.note.read_text("utf-8"))["start_us"])
        if self.database.exists():
            raise DemoError(
                f"{self.folder} holds a database but no finished demo; delete {self.database} or name "
                "another folder"
            )
        return None

    def write_plant(self, endpoint: str, port: int) -> None:
        """The demo's plant file, as it stands in the folder where it does, with the addresses in use."""
        text = (self.plant if self.plant.is_file() else PLANT).read_text("utf-8")
        text = ENDPOINT_USED.sub(endpoint, text, count=1)
        self.plant.write_text(PORT_USED.sub(f"port = {port}", text, count=1), "utf-8")


def demo(days: int, port: int, folder: Path | None, browser: bool) -> None:
    """Run the demo until Ctrl-C. Raises DemoError, Occupied and StoreError with messages for the user."""
    door = listen("127.0.0.1", port)
    try:
        with _folder(folder) as place:
            begun_us = place.begun_us()
            start_us = begun_us if begun_us is not None else clock.now_us() - days * DAY_US
            with _plant_process(start_us) as plant:
                if begun_us is None:
                    _take_past(place, start_us)
                place.write_plant(_endpoint(plant), door.getsockname()[1])
                config = load(place.plant)
                store = Store.open(config.store.url, place.plant)
                asyncio.run(operate(config, store, door, True, lambda at: _announce(at, place, folder, browser)))
                store.close()
    finally:
        door.close()
    click.echo("Stopped.")


def _announce(port: int, place: Place, folder: Path | None, browser: bool) -> None:
    address = f"http://127.0.0.1:{port}/"
    click.echo(f"The simulated plant runs. Open {address}")
    click.echo(f"Its files are in {place.folder}" + ("" if folder else " and are deleted at the end"))
    click.echo("Ctrl-C ends it.")
    if browser:
        # a browser that starts slowly must not hold up the service
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


@contextmanager
def _folder(folder: Path | None) -> Iterator[Place]:
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        yield Place(folder.absolute())
        return
    made = Path(tempfile.mkdtemp(prefix="swarfline-demo-"))
    try:
        yield Place(made)
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _simulator(*words: str) -> subprocess.Popen[bytes]:
    """A process of the simulator; in a session of its own, so that Ctrl-C reaches it through us only."""
    command = [sys.executable, "-m", "swarfline_sim", *words]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stdin=subprocess.PIPE, start_new_session=True)


def _end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            stream.close()


def _moment(us: int) -> str:
    return datetime.fromtimestamp(us / 1_000_000, UTC).isoformat()


@contextmanager
def _plant_process(start_us: int) -> Iterator[subprocess.Popen[bytes]]:
    """The simulated plant, live, as one that began at ``start_us``; it needs seconds to catch up."""
    begun = _moment(start_us)
    process = _simulator("serve", "--port", "0", "--start", begun, "--epoch", begun, "--with-stdin")
    try:
        yield process
    finally:
        _end(process)


def _endpoint(process: subprocess.Popen[bytes]) -> str:
    assert process.stdout is not None
    line = process.stdout.readline().decode()
    if not line.startswith(READY):
        raise DemoError("the simulated plant did not start; `swarfline-sim serve` shows why")
    return line.removeprefix(READY).strip()


def _take_past(place: Place, start_us: int) -> None:
    """From the start to the present, through interpretation and store; all of it or nothing."""
    place.write_plant(ENDPOINT, 0)
    until_us = clock.now_us()
    process = _simulator("history", "--start", _moment(start_us), "--until", _moment(until_us))
    whole = False
    try:
        _store_past(place, process, start_us, until_us)
        whole = True
    except HistoryError as problem:
        raise DemoError(f"the simulated past could not be taken in: {problem}") from problem
    finally:
        _end(process)
        if not whole:
            for file in place.folder.glob(f"{place.database.name}*"):
                file.unlink(missing_ok=True)
    place.note.write_text(json.dumps({"start_us": start_us}), "utf-8")


def _store_past(place: Place, process: subprocess.Popen[bytes], start_us: int, until_us: int) -> None:
    config = load(place.plant)
    store = Store.open(config.store.url, place.plant)
    assert process.stdout is not None
    try:
        label = f"Taking in {round((until_us - start_us) / DAY_US)} days of the simulated plant"
        with click.progressbar(length=until_us - start_us, label=label) as bar:
            take_history(process.stdout, Pipeline(config, store), lambda us: bar.update(us - start_us - bar.pos))
            bar.update(bar.length - bar.pos if bar.length else 0)
    finally:
        store.close()
