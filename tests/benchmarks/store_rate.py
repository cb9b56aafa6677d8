"""How fast readings are recorded, interpreted and stored, against a bare sqlite3 that is given the same rows.

    python tests/benchmarks/store_rate.py [--days 3] [--batch 5000] [--rounds 5] [--weeks 0] [--profile]

Ours: Fold, open facts, checkpoints, present pictures, Writer.commit. Bare: ``executemany`` of every reading as a
row of six columns and of the very fact rows that ours stored, one transaction for each batch. Both write a fresh
file with WAL and synchronous=FULL, in alternating rounds; the ratio is the median of the rounds' ratios. Budget of
the design: 0.35 of the bare rows/s. ``--weeks 2`` measures the import of a long history instead, in big batches.
"""

from __future__ import annotations

import argparse
import cProfile
import gc
import pstats
import resource
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from interpret_rate import BEGIN_US, DAY_US, history, settings_of

from swarfline.facts import Fact
from swarfline.interpret.fold import Fold
from swarfline.signals import Reading
from swarfline.store import Batch, Store, Writer
from swarfline.store.rows import names, to_rows
from swarfline.store.tables import FACT_TABLES
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import plant

BUDGET = 0.35
IMPORT_BATCH = 40_000
READING = "INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?)"
STAGES = ("interpret", "look ahead", "store")

Spent = dict[str, float]
BareBatch = tuple[Sequence[Reading], list[tuple[str, list[tuple[Any, ...]]]]]
"""Readings, and by statement the fact rows of one batch."""


def _settle_memory() -> None:
    """What was prepared stays as long as the process: the collector would look through it again and again."""
    gc.collect()
    gc.freeze()


class Stopwatch:
    """Adds up the wall time of the stages of a loop."""

    def __init__(self) -> None:
        self.spent: Spent = dict.fromkeys(STAGES, 0.0)
        self._at = time.perf_counter()

    def lap(self, stage: str) -> None:
        """The time since the last lap went into ``stage``."""
        now = time.perf_counter()
        self.spent[stage] += now - self._at
        self._at = now


def live(fold: Fold, readings: Sequence[Reading], watch: Stopwatch) -> Batch:
    """What live operation makes of a batch."""
    fed = fold.feed(readings)
    watch.lap("interpret")
    batch = Batch(
        readings=readings,
        late=fed.late,
        facts=[*fed.facts, *fold.open_facts(fed.touched)],
        checkpoints={machine: fold.save(machine) for machine in fed.touched},
        now={machine: fold.snapshot(machine) for machine in fed.touched},
        seen_us=readings[-1].received_us,
    )
    watch.lap("look ahead")
    return batch


def ours(readings: Sequence[Reading], size: int, url: str) -> tuple[float, float, Spent]:
    """(wall, processor, by stage) seconds of the whole way into a fresh database."""
    fold = Fold(settings_of(readings))
    store = Store.open(url)
    writer = store.writer()
    _settle_memory()
    watch, wall, cpu = Stopwatch(), time.perf_counter(), time.process_time()
    for at in range(0, len(readings), size):
        batch = live(fold, readings[at : at + size], watch)
        writer.commit(batch)
        watch.lap("store")
    spent = time.perf_counter() - wall, time.process_time() - cpu, watch.spent
    store.close()
    return spent


def fact_rows(facts: Sequence[Fact]) -> list[tuple[str, list[tuple[Any, ...]]]]:
    """The rows of a batch's facts by statement, the last of each key, as ours stores them."""
    latest: dict[type[Fact], dict[object, Fact]] = {}
    for fact in facts:
        latest.setdefault(type(fact), {})[fact.key] = fact
    return [(_replace(kind), to_rows(kind, by_key.values())) for kind, by_key in latest.items()]


def _replace(kind: type[Fact]) -> str:
    table = FACT_TABLES[kind]
    keys = {column.name for column in table.primary_key}
    update = ", ".join(f'"{n}" = excluded."{n}"' for n in names(kind) if n not in keys)
    columns, marks = ", ".join(f'"{n}"' for n in names(kind)), ", ".join("?" * len(names(kind)))
    return f"INSERT INTO {table.name} ({columns}) VALUES ({marks}) ON CONFLICT DO UPDATE SET {update}"


def bare_batches(readings: Sequence[Reading], size: int) -> list[BareBatch]:
    """What the bare side is given, prepared outside of its time."""
    fold, watch = Fold(settings_of(readings)), Stopwatch()
    slices = [readings[at : at + size] for at in range(0, len(readings), size)]
    return [(piece, fact_rows(live(fold, piece, watch).facts)) for piece in slices]


def bare(batches: Sequence[BareBatch], path: Path) -> tuple[float, float]:
    """(wall, processor) seconds of sqlite3 with the same rows; the fact tables are ours."""
    Store.open(f"sqlite:///{path}").close()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE readings (machine, signal, source_us, received_us, value, quality)")
    _settle_memory()
    wall, cpu = time.perf_counter(), time.process_time()
    for readings, facts in batches:
        with connection:
            connection.executemany(READING, readings)
            for statement, rows in facts:
                connection.executemany(statement, rows)
    spent = time.perf_counter() - wall, time.process_time() - cpu
    connection.close()
    return spent


def measure(days: float, size: int, rounds: int) -> dict[str, Any]:
    """Both sides in turn; medians."""
    readings = history(days)
    batches = bare_batches(readings, size)
    rows = len(readings) + sum(len(r) for _, facts in batches for _, r in facts)
    runs = [(_in_folder(_ours(readings, size)), _in_folder(_bare(batches))) for _ in range(rounds)]
    return {
        "rows": rows,
        "readings": len(readings),
        "ours_per_s": rows / statistics.median(o[0] for o, _ in runs),
        "bare_per_s": rows / statistics.median(b[0] for _, b in runs),
        "ratio": statistics.median(b[0] / o[0] for o, b in runs),
        "ratio_cpu": statistics.median(b[1] / o[1] for o, b in runs),
        "stages": {s: statistics.median(o[2][s] for o, _ in runs) / len(readings) * 1e6 for s in STAGES},
    }


def _ours(readings: Sequence[Reading], size: int) -> Callable[[Path], tuple[float, float, Spent]]:
    return lambda folder: ours(readings, size, f"sqlite:///{folder / 'ours.db'}")


def _bare(batches: Sequence[BareBatch]) -> Callable[[Path], tuple[float, float]]:
    return lambda folder: bare(batches, folder / "bare.db")


def _in_folder(run: Callable[[Path], Any]) -> Any:
    with tempfile.TemporaryDirectory() as folder:
        return run(Path(folder))


def weeks_of(days: float) -> Iterator[list[Reading]]:
    """The whole simulated plant's past in big batches, made as it is taken."""
    machines = [Machine(spec, 1, BEGIN_US) for spec in plant()]
    waiting: list[Reading] = []
    for hour in range(1, round(days * 24) + 1):
        events = (e for m in machines for e in m.advance(BEGIN_US + hour * DAY_US // 24).events)
        waiting += [Reading(e.machine, e.signal, e.t_us, e.t_us, e.value) for e in events]
        if len(waiting) >= IMPORT_BATCH:
            yield waiting
            waiting = []
    yield waiting


def import_weeks(weeks: float, folder: Path) -> dict[str, float]:
    """Processor seconds of the import of a long history, without those of simulating it."""
    offered = settings_of(next(weeks_of(1)))
    fold, store = Fold(offered), Store.open(f"sqlite:///{folder / 'weeks.db'}")
    writer: Writer = store.writer()
    spent, count = 0.0, 0
    for readings in weeks_of(weeks * 7):
        began = time.process_time()
        fed = fold.feed(readings)
        writer.commit(Batch(readings=readings, late=fed.late, facts=fed.facts))
        spent += time.process_time() - began
        count += len(readings)
    store.close()
    size = sum(file.stat().st_size for file in folder.iterdir())
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"readings": count, "cpu_s": spent, "file_mb": size / 1e6, "peak_memory_mb": memory}


def profile(days: float, size: int) -> None:
    """Where the time of ours goes, function by function."""
    readings = history(days)
    watcher = cProfile.Profile()
    _in_folder(lambda folder: watcher.runcall(ours, readings, size, f"sqlite:///{folder / 'ours.db'}"))
    pstats.Stats(watcher).sort_stats("tottime").print_stats(25)


def show(found: dict[str, Any]) -> None:
    """The figures of one measurement as lines."""
    for name, value in found.items():
        if isinstance(value, float | int):
            print(f"{name:14} {value:12.2f}")
    for stage, us in found.get("stages", {}).items():
        print(f"{stage:14} {us:12.2f} µs per reading")
    if "ratio" in found:
        print(f"budget of the ratio {BUDGET}: {'kept' if found['ratio'] >= BUDGET else 'MISSED'}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=float, default=3.0, help="length of the stream")
    parser.add_argument("--batch", type=int, default=5000, help="readings of one commit")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--weeks", type=float, default=0.0, help="import so long a history instead")
    parser.add_argument("--profile", action="store_true", help="print where the time goes instead")
    args = parser.parse_args()
    if args.profile:
        profile(args.days, args.batch)
    elif args.weeks:
        show(_in_folder(lambda folder: import_weeks(args.weeks, folder)))
    else:
        show(measure(args.days, args.batch, args.rounds))


if __name__ == "__main__":
    main()
