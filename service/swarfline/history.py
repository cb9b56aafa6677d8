"""The stream of readings that a simulated plant writes, taken in through the real interpretation and store.

The stream's form is told in docs/simulator.md. JSON Lines: a head, readings by machine, an end line.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from swarfline.collect import Pipeline
from swarfline.signals import Reading

FORMAT, VERSION = "swarfline-readings", 1
BATCH = 40_000
"""Readings in one commit."""


class HistoryError(Exception):
    """The stream is not what it should be; the message says where."""


def take_history(lines: Iterable[bytes], pipeline: Pipeline, progress: Callable[[int], None]) -> int:
    """Store a whole stream; how many readings it held. ``progress`` is told the newest time, in µs UTC.

    Raises HistoryError for a stream of another form or one that breaks off.
    """
    batch: list[Reading] = []
    total = 0
    with _no_collection():
        for readings in _pieces(lines):
            batch += readings
            if len(batch) >= BATCH:
                total += _store(pipeline, batch, False)
                progress(batch[-1].source_us)
                batch = []
        total += _store(pipeline, batch, True)
    return total


def _store(pipeline: Pipeline, batch: list[Reading], last: bool) -> int:
    pipeline.commit(pipeline.take_past(batch, last))
    return len(batch)


def _pieces(lines: Iterable[bytes]) -> Iterator[list[Reading]]:
    told = -1
    count = 0
    for number, line in enumerate(lines, 1):
        data = _parsed(line, number)
        if number == 1:
            if (data.get("format"), data.get("version")) != (FORMAT, VERSION):
                raise HistoryError(f"line 1: not a stream of {FORMAT!r} version {VERSION}")
        elif "end" in data:
            told = data["readings"]
        else:
            machine = data["machine"]
            count += len(data["readings"])
            yield [Reading(machine, signal, us, us, value) for signal, us, value in data["readings"]]
    if told != count:
        raise HistoryError(f"the stream broke off: {count} readings came, and no end line that says so")


def _parsed(line: bytes, number: int) -> dict[str, Any]:
    try:
        data = json.loads(line)
    except ValueError as problem:
        raise HistoryError(f"line {number}: not JSON: {problem}") from None
    if not isinstance(data, dict):
        raise HistoryError(f"line {number}: not a JSON object")
    return data


@contextmanager
def _no_collection() -> Iterator[None]:
    """A million short-lived readings hold no cycles; looking for some costs a quarter of the time."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
