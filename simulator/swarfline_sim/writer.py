"""Lines of JSON: the history of a plant as a stream of readings, and its truth."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TextIO

from swarfline_sim.events import MINUTE_US, WARM_UP, Value
from swarfline_sim.ledger import Record
from swarfline_sim.machine import Machine

FORMAT = "swarfline-readings"
VERSION = 1
BLOCK_US = 15 * MINUTE_US
PER_LINE = 400

Sink = Callable[[Iterable[Record]], None]
"""Takes truth records as they become known."""

_encode = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False, check_circular=False).encode


def history(machines: Sequence[Machine], until_us: int, truth: Sink) -> Iterator[str]:
    """The stream, line by line (without line ends): header, readings, end line.

    Machines take turns in blocks of at most 15 minutes of plant time. Truth goes to ``truth``, at the end
    with what is still open and the totals; the machines end with it.
    """
    start_us = machines[0].now_us
    names = [machine.spec.name for machine in machines]
    head = {"format": FORMAT, "version": VERSION, "start_us": start_us, "until_us": until_us, "machines": names}
    yield _encode(head)
    total = 0
    for edge_us in (*range(start_us - start_us % BLOCK_US + BLOCK_US, until_us, BLOCK_US), until_us):
        for machine in machines:
            batch = machine.advance(edge_us)
            truth(batch.truth)
            readings = [(signal, t_us, value) for t_us, _, signal, value in batch.events if signal != WARM_UP]
            total += len(readings)
            yield from _lines(machine.spec.name, readings)
    for machine in machines:
        truth(machine.finish())
    yield _encode({"end": True, "readings": total})


def _lines(machine: str, readings: Sequence[tuple[str, int, Value]]) -> Iterator[str]:
    for at in range(0, len(readings), PER_LINE):
        yield _encode({"machine": machine, "readings": readings[at : at + PER_LINE]})


def truth_sink(stream: TextIO) -> Sink:
    """Writes one line per record and flushes, so that a killed run leaves whole lines."""

    def write(records: Iterable[Record]) -> None:
        lines = [_encode(record) + "\n" for record in records]
        if lines:
            stream.write("".join(lines))
            stream.flush()

    return write


def no_truth(records: Iterable[Record]) -> None:
    """A sink for runs whose truth nobody asked for."""
