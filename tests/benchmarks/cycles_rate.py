"""How fast cycles come from the store, whole and without what most figures do not need.

    python tests/benchmarks/cycles_rate.py [--cycles 20000] [--rounds 5]

Writes made-up cycles with six tools and a strip of 23 pieces, as a machining centre makes them, by the store's
writer into SQLite, and reads them back in four ways: whole; without strip (studies, level steps, trends, plans);
without energy, tools and strip (the list of all machines); and as the bare rows of all columns, by sqlite3 itself.
Prints the median of the rounds and its ratio to the bare rows.
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from swarfline.facts import COMPLETE, Cycle, StepPiece, ToolUse
from swarfline.store import Batch, Store

SECOND = 1_000_000
BATCH = 2000
STEPS = ("tool_change", "positioning", "cutting", "other")


def cycle(number: int) -> Cycle:
    """One of the made-up cycles."""
    start = number * 200 * SECOND
    tools = tuple(
        ToolUse(str(t), t, 30 * SECOND + number % 977, 25 * SECOND + t, 31.25 + t, 60.5 + number % 7, 1.0)
        for t in range(1, 7)
    )
    strip = tuple(StepPiece(n * 8 * SECOND + number % 89, STEPS[n % 4], str(1 + n // 4)) for n in range(23))
    spent = (150 * SECOND, 8 * SECOND, 12 * SECOND, 10 * SECOND + number % 977, 0)
    return Cycle(
        "N1", start, start + sum(spent), COMPLETE, "O1201", "PH-12", "L1", 1, spent, 540_000.5, tools, strip
    )  # fmt: skip


def rates(ways: dict[str, Callable[[], object]], count: int, rounds: int) -> dict[str, float]:
    """µs of processor time for each cycle, by way; they take turns, so that a busy machine disturbs all alike."""
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, read in ways.items():
            begun = time.process_time()
            read()
            taken[name].append(time.process_time() - begun)
    return {name: 1e6 * statistics.median(found) / count for name, found in taken.items()}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cycles", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "cycles.db"
        store = Store.open(f"sqlite:///{file}")
        writer = store.writer()
        for first in range(0, asked.cycles, BATCH):
            writer.commit(Batch(facts=[cycle(n) for n in range(first, min(first + BATCH, asked.cycles))]))
        span, queries = (0, asked.cycles * 200 * SECOND), store.queries
        bare = sqlite3.connect(file)
        ways: dict[str, Callable[[], object]] = {
            "bare rows": lambda: bare.execute("SELECT * FROM cycles ORDER BY machine, start_us").fetchall(),
            "whole": lambda: queries.facts(Cycle, "N1", *span),
            "without strip": lambda: queries.cycles("N1", *span),
            "in short": lambda: queries.cycles("N1", *span, ("energy_j", "tools", "strip")),
        }
        found = rates(ways, asked.cycles, asked.rounds)
        for name, each in found.items():
            print(f"{name:14} {each:8.1f} µs a cycle  {each / found['bare rows']:6.1f} × bare")
        bare.close()
        store.close()


if __name__ == "__main__":
    main()
