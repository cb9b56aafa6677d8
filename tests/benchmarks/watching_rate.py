"""What the alert rules cost: looks at 50 machines, against taking a second of readings of the largest plant.

    python tests/benchmarks/watching_rate.py FOLDER [--days 30] [--rounds 3]

FOLDER keeps a simulated month of six machines (made at the first call, as by ``figures_rate``). Each rule is run
for every machine at the month's end; what a rule reads first is read for those after it too, as in a look.
Printed: CPU time per machine by rule and by round; one round over 50 machines, as a multiple of the CPU time that
the same pipeline takes to interpret and store a second of 20 000 readings, in the same run; and what all rounds of
a minute come to, where each machine ends a cycle a minute, as a share of a minute of such readings.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from figures_rate import BEGIN_US, DAY_US, DEMO, best_s, month

from swarfline.calendar import from_us
from swarfline.collect import Pipeline
from swarfline.collect.machine_looks import QUICK, SELDOM, SLOW, Look, MachineView
from swarfline.collect.watching import EVERY_US, SELDOM_US, SLOWLY_US
from swarfline.history import take_history
from swarfline.plant import Plant, load
from swarfline.store import Store

MACHINES = 50
READINGS_PER_S = 20_000
CYCLES_PER_MINUTE = 1
SAMPLE_DAYS = 1


def reading_s() -> tuple[float, int]:
    """CPU time to interpret and store a simulated day, and how many readings that were."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "plant.toml"
        file.write_text(DEMO.read_text("utf-8"), "utf-8")
        plant = load(file)
        store = Store.open(plant.store.url, file)
        until = from_us(BEGIN_US + SAMPLE_DAYS * DAY_US).isoformat()
        command = [sys.executable, "-m", "swarfline_sim", "history"]
        command += ["--start", from_us(BEGIN_US).isoformat(), "--until", until]
        lines = subprocess.run(command, capture_output=True, check=True).stdout.splitlines(keepends=True)
        began = time.process_time()
        take_history(iter(lines), Pipeline(plant, store), lambda at_us: None)
        spent = time.process_time() - began
        count = sum(1 for _ in store.readings(0, 2**62))
        store.close()
    return spent, count


def views(plant: Plant, store: Store) -> Iterator[MachineView]:
    """A fresh view of each machine at the end of what is told."""
    for machine in plant.machines:
        now_us = store.queries.latest_us(machine.id) or 0
        yield MachineView(plant, store.queries, plant.calendar(), machine, now_us, 0, 0)


def spend(looks: dict[str, Look], plant: Plant, store: Store) -> None:
    """One look at every machine with these rules."""
    for view in views(plant, store):
        for look in looks.values():
            for _ in look(view):
                pass


def main() -> None:
    """Print the table and the ratio."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--rounds", type=int, default=3)
    chosen = parser.parse_args()
    plant = month(chosen.folder, chosen.days)
    store = Store.open(plant.store.url, chosen.folder / "plant.toml")
    each = len(plant.machines)

    def per_machine_s(looks: dict[str, Look]) -> float:
        return best_s(lambda: spend(looks, plant, store), chosen.rounds) / each

    for name, look in {**QUICK, **SLOW, **SELDOM}.items():
        print(f"{name:24} {per_machine_s({name: look}) * 1000:8.2f} ms per machine, alone")
    minute_s = 0.0
    for looks, every_us, more in (
        (QUICK, EVERY_US, CYCLES_PER_MINUTE),
        (SLOW, SLOWLY_US, 0),
        (SELDOM, SELDOM_US, 0),
    ):
        look_s = per_machine_s(looks)
        minute_s += look_s * (EVERY_US / every_us + more)
        print(f"{'every ' + str(every_us // 1_000_000) + ' s':24} {look_s * 1000:8.2f} ms per machine")
    spent_s, count = reading_s()
    minute_of_readings_s = spent_s / count * READINGS_PER_S * EVERY_US / 1e6
    minute_of_looks_s = MACHINES * minute_s
    print(f"a minute of {READINGS_PER_S} readings a second: {minute_of_readings_s:.2f} s of CPU")
    print(f"a minute of looks at {MACHINES} machines: {minute_of_looks_s:.2f} s of CPU")
    print(f"ratio: {minute_of_looks_s / minute_of_readings_s:.3f}")
    round_s = MACHINES * per_machine_s(QUICK)
    print(f"one look at all, against a second of readings: {round_s / (spent_s / count * READINGS_PER_S):.1f} ×")
    store.close()


if __name__ == "__main__":
    main()
