"""A simulated past with all kinds of trouble: what the API tells of it beside what really happened.

    cd tests && python -m system.month [--days 31] [--machines N1,N2,…] [--seed 1] [--folder DIR]

Takes March 2026 (with the change of the clocks) of ``swarfline-sim history`` through gaps, resets, roll-overs and
readings out of order (troubled.py) into the service's pipeline, with the service started anew on the way, asks
the API of a service that runs, and prints a table: what is told where it is true, told≠true where it is not. Exit
code 1 when anything is not. The whole month takes some minutes.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from pathlib import Path

import swarfline.demo
from swarfline.collect import Pipeline
from swarfline.plant import Plant, load
from swarfline.signals import Reading
from swarfline.store import Store
from swarfline.tallying import Tallying

from .accounts import Span
from .api import EPOCH
from .judged import Cell, judge
from .processes import Service, moment
from .reckoned import at_us
from .troubled import QUARTER_US, Notes, Raw, Wire, blocks, draw_troubles, restarts
from .truth import Truth

MACHINES = ("N1", "N2", "N3", "N4", "S1", "S2")
FIRST_DAY = date(2026, 3, 1)
START_US = at_us(FIRST_DAY, time())
BATCH = 20_000
BACK_US = 30_000_000
"""How long a restart of the service takes."""
RESTARTS = (0.3, 0.55, 0.8)


@dataclass(frozen=True)
class Month:
    """What was taken in, and the truth of it."""

    folder: Path
    span: Span
    notes: dict[str, Notes]
    truth: Truth
    readings: int


class Taking:
    """The service's own way of readings into the store, ended and begun again on the way."""

    def __init__(self, plant_file: Path, wires: dict[str, Wire]) -> None:
        self.readings = 0
        self._file = plant_file
        self._plant: Plant = load(plant_file)
        self._wires = wires
        self._batch: list[Reading] = []
        self._begin()

    def _begin(self) -> None:
        self._store = Store.open(self._plant.store.url, self._file)
        self._pipeline = Pipeline(self._plant, self._store)

    def take(self, machine: str, raw: list[Raw]) -> None:
        """The next readings of a machine."""
        self._batch += self._wires[machine].carry(raw)
        if len(self._batch) >= BATCH:
            self.commit()

    def commit(self) -> None:
        """Interpret and store what waits."""
        now_us = max((reading.received_us for reading in self._batch), default=0)
        self._pipeline.commit(self._pipeline.take(self._batch, now_us))
        self.readings += len(self._batch)
        self._batch = []

    def restart(self, at_us: int) -> None:
        """End and begin again: what was told last of each machine is up to when it was seen."""
        self.commit()
        self._store.close()
        self._begin()
        self._batch += self._pipeline.losses(at_us)
        for wire in self._wires.values():
            wire.cut(at_us + BACK_US)

    def finish(self, until_us: int) -> None:
        """Nothing more comes."""
        for wire in self._wires.values():
            self._batch += wire.end(until_us)
        self.commit()
        Tallying(self._plant, self._store).fill()
        self._store.close()


def write_plant(folder: Path) -> Path:
    """The demo's plant file in the simulator's time, with narrow part counters."""
    text = swarfline.demo.PLANT.read_text("utf-8")
    text = text.replace("width = 64", "width = 16").replace("port = 8750", "port = 0")
    endpoint = 'endpoint = "opc.tcp://127.0.0.1:4840/swarfline-sim"'
    path = folder / "plant.toml"
    path.write_text(text.replace(endpoint, f'{endpoint}\nclock = "server"'), "utf-8")
    return path


def take_in(folder: Path, days: int, machines: Sequence[str], seed: int) -> Month:
    """Simulate, trouble, interpret and store so many days of the plant's calendar."""
    span = Span(START_US, at_us(FIRST_DAY + timedelta(days=days), time()))
    wires = {m: Wire(m, draw_troubles(m, span, seed), seed) for m in machines}
    taking = Taking(write_plant(folder), wires)
    due = restarts(span, RESTARTS)
    command = [sys.executable, "-m", "swarfline_sim", "history", "--seed", str(seed)]
    command += ["--start", moment(span.start_us), "--until", moment(span.end_us)]
    command += ["--machines", ",".join(machines), "--truth", str(folder / "truth.jsonl")]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as simulator:
        assert simulator.stdout is not None
        for machine, quarter, raw in blocks(simulator.stdout):
            if due and quarter >= due[0]:
                taking.restart(due.pop(0) * QUARTER_US)
            taking.take(machine, raw)
    assert simulator.returncode == 0
    taking.finish(span.end_us)
    notes = {machine: wire.notes for machine, wire in wires.items()}
    return Month(folder, span, notes, Truth(folder / "truth.jsonl"), taking.readings)


def ask(month: Month) -> list[Cell]:
    """Start a service over what was stored, and judge what it tells of every machine."""
    service = Service(month.folder / "service.log", month.folder / "plant.toml", "--only", "serve")
    try:
        return [
            c for m, notes in month.notes.items() for c in judge(service.api, month.truth, m, notes, month.span)
        ]
    finally:
        service.clear_away()


def table(cells: Sequence[Cell]) -> str:
    """One line for each field, one column for each machine."""
    machines = list(dict.fromkeys(cell.machine for cell in cells))
    found = {(cell.row, cell.machine): str(cell) for cell in cells}
    rows = list(dict.fromkeys(cell.row for cell in cells))
    widths = {m: max(len(found.get((row, m), "")) for row in rows) for m in machines}
    lines = [f"{'':34}" + "  ".join(f"{m:>{widths[m]}}" for m in machines)]
    for row in rows:
        lines.append(f"{row:34}" + "  ".join(f"{found.get((row, m), ''):>{widths[m]}}" for m in machines))
    return "\n".join(lines)


def main() -> int:
    """Judge a month and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=31)
    parser.add_argument("--machines", default=",".join(MACHINES))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="an empty folder to keep everything in")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        month = take_in(args.folder or Path(made), args.days, args.machines.split(","), args.seed)
        cells = ask(month)
    until = (EPOCH + timedelta(microseconds=month.span.end_us)).isoformat()
    print(f"{month.readings} readings up to {until}; times in s, energy in Wh\n")
    print(table(cells))
    wrong = [cell for cell in cells if not cell.fits]
    print(f"\n{len(cells)} fields, {len(wrong)} wrong")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
