"""How fast interpretation is: readings per second on one core, and against a bare loop over the same readings.

    python tests/benchmarks/interpret_rate.py [--days 2] [--seconds 300]

Two streams: ``history`` is what the simulated plant tells on change; ``dense`` is 80 signals of one machine
that all change five times a second. The bare loop looks every reading up in two dictionaries and no more.
Budget of the design: 200 000 readings/s on one core.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Iterator, Sequence

from swarfline.interpret.fold import Fold
from swarfline.interpret.settings import MachineSettings
from swarfline.signals import Reading, tool_signal
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import plant

BUDGET = 200_000
BATCH = 1000
ROUNDS = 3
BEGIN_US = 1_772_406_000_000_000
DAY_US = 86_400_000_000
TICK_US = 200_000
POTS = 17


def history(days: float) -> list[Reading]:
    """Readings of four machines of the scenario in time order, as they would arrive."""
    until_us = BEGIN_US + round(days * DAY_US)
    machines = [Machine(spec, 1, BEGIN_US) for spec in plant(["N1", "N2", "N3", "S1"])]
    events = sorted((e for m in machines for e in m.advance(until_us).events), key=lambda e: e.t_us)
    return [Reading(e.machine, e.signal, e.t_us, e.t_us, e.value) for e in events]


def dense(seconds: float) -> list[Reading]:
    """80 signals of one machine, each told every 200 ms; a cycle lasts 40 s."""
    return [
        Reading("D1", signal, at_us, at_us + 50_000, value)
        for tick in range(int(seconds * 5))
        for at_us in (BEGIN_US + tick * TICK_US,)
        for signal, value in _dense_values(tick)
    ]


def _dense_values(tick: int) -> Iterator[tuple[str, bool | int | float | str]]:
    yield "state", "executing"
    yield "program_state", "ended" if tick % 200 == 0 else "running"
    yield "part_count", tick // 200
    yield "active_tool", tick // 25 % 8 + 1
    yield "tool_changing", tick % 25 < 6
    yield "positioning", 6 <= tick % 25 < 9
    for place, signal in enumerate(("spindle_speed", "spindle_load", "power", "feed_rate", "cycle_time_reported")):
        yield signal, 10.0 * place + tick % 97
    yield "energy", tick * 0.1
    for pot in range(1, POTS + 1):
        yield tool_signal(str(pot), "number"), pot
        yield tool_signal(str(pot), "limit"), 500_000
        yield tool_signal(str(pot), "used"), tick
        yield tool_signal(str(pot), "locked"), False


def settings_of(readings: Sequence[Reading]) -> list[MachineSettings]:
    """Settings of every machine in the stream; its clock is taken as it is."""
    offered: dict[str, set[str]] = {}
    for reading in readings:
        offered.setdefault(reading.machine, set()).add(reading.signal)
    return [MachineSettings(name, frozenset(signals), max_skew_us=None) for name, signals in offered.items()]


def interpret_s(readings: Sequence[Reading]) -> float:
    """CPU seconds of the fold over the stream, with the open facts asked for after every batch."""
    fold = Fold(settings_of(readings))
    facts = 0
    began = time.process_time()
    for at in range(0, len(readings), BATCH):
        fed = fold.feed(readings[at : at + BATCH])
        facts += len(fed.facts) + len(fold.open_facts(fed.touched))
    spent = time.process_time() - began
    if not facts:
        raise RuntimeError("the stream told no facts: nothing was measured")
    return spent


def bare_s(readings: Sequence[Reading]) -> float:
    """CPU seconds of the least that could be done with the stream."""
    kinds = dict.fromkeys({r.signal for r in readings}, 0)
    values: dict[str, dict[str, object]] = {r.machine: {} for r in readings}
    began = time.process_time()
    for machine, signal, _, _, value, _ in readings:
        kinds.get(signal)
        values[machine][signal] = value
    return time.process_time() - began


def measure(readings: Sequence[Reading]) -> dict[str, float]:
    """Readings/s, and how many times a bare loop takes; medians of alternating rounds."""
    pairs = [(interpret_s(readings), bare_s(readings)) for _ in range(ROUNDS)]
    return {
        "readings": len(readings),
        "readings_per_s": len(readings) / statistics.median(spent for spent, _ in pairs),
        "times_bare": statistics.median(spent / bare for spent, bare in pairs),
    }


def main() -> None:
    """Measure both streams and print a line for each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=float, default=2.0, help="length of the history stream")
    parser.add_argument("--seconds", type=float, default=300.0, help="length of the dense stream")
    args = parser.parse_args()
    for name, readings in (("history", history(args.days)), ("dense", dense(args.seconds))):
        found = measure(readings)
        print(
            f"{name:8} {found['readings']:8.0f} readings  {found['readings_per_s']:9.0f} readings/s"
            f"  ({found['readings_per_s'] / BUDGET:.2f} of the budget)  {found['times_bare']:5.1f} x a bare loop"
        )


if __name__ == "__main__":
    main()
