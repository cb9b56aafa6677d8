"""The journal: every reading as it came, kept compactly and read back in the order of arrival.

A block holds the readings of one commit, state-like and wiggling signals apart, so that the two can be kept
for different times. Inside, columns: machine and signal as indexes into the block's own names, times as 64-bit
integers, values as JSON, all deflated. ``number`` is the arrival number, which orders the two kinds of block.
"""

from __future__ import annotations

import heapq
import json
import struct
import zlib
from array import array
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, func, select

from swarfline.signals import Reading, is_state_like
from swarfline.store import tables

_HEAD = struct.Struct("<II")
_LEVEL = 1


class Journal:
    """Packs readings into blocks; remembers which signals are state-like."""

    def __init__(self) -> None:
        self._state_like: dict[str, bool] = {}

    def blocks(
        self, readings: Sequence[Reading], first_number: int, late: Sequence[int] = ()
    ) -> list[dict[str, Any]]:
        """Rows for the journal table from readings in order of arrival; ``late`` are places in the list."""
        kinds: tuple[list[int], list[int]] = ([], [])
        known = self._state_like
        for place, reading in enumerate(readings):
            signal = reading[1]
            flag = known.get(signal)
            if flag is None:
                flag = known[signal] = is_state_like(signal)
            kinds[flag].append(place)
        lateness = set(late)
        return [
            self._block(readings, places, first_number, bool(flag), lateness)
            for flag, places in enumerate(kinds)
            if places
        ]

    def _block(
        self, readings: Sequence[Reading], places: list[int], first_number: int, state_like: bool, late: set[int]
    ) -> dict[str, Any]:
        chosen = readings if len(places) == len(readings) else [readings[p] for p in places]
        source = [r[2] for r in chosen]
        return {
            "state_like": state_like,
            "from_us": min(source),
            "to_us": max(source),
            "first_number": first_number,
            "readings": len(chosen),
            "payload": pack(chosen, places, [p for p in places if p in late] if late else []),
        }


def pack(readings: Sequence[Reading], places: Sequence[int], late: Sequence[int]) -> bytes:
    """Readings as one block; ``places`` are their arrival numbers relative to the block's first."""
    machines, signals, source, received, values, quality = zip(*readings, strict=True)
    machine_index = {name: i for i, name in enumerate(dict.fromkeys(machines))}
    signal_index = {name: i for i, name in enumerate(dict.fromkeys(signals))}
    head = json.dumps(
        [list(machine_index), list(signal_index), list(values), list(late)], separators=(",", ":")
    ).encode()
    columns = b"".join(
        column.tobytes()
        for column in (
            array("H", map(machine_index.__getitem__, machines)),
            array("H", map(signal_index.__getitem__, signals)),
            array("q", source),
            array("q", received),
            array("I", places),
            array("B", quality),
        )
    )
    return zlib.compress(_HEAD.pack(len(head), len(readings)) + head + columns, _LEVEL)


def unpack(payload: bytes) -> list[tuple[int, Reading, bool]]:
    """(relative arrival number, reading, late) of one block."""
    data = zlib.decompress(payload)
    head_length, count = _HEAD.unpack_from(data)
    offset = _HEAD.size
    machines, signals, values, late = json.loads(data[offset : offset + head_length])
    offset += head_length
    columns = []
    for code in "HHqqIB":
        column = array(code)
        size = column.itemsize * count
        column.frombytes(data[offset : offset + size])
        offset += size
        columns.append(column)
    machine_at, signal_at, source, received, places, quality = columns
    lateness = set(late)
    return [
        (
            places[i],
            Reading(machines[machine_at[i]], signals[signal_at[i]], source[i], received[i], values[i], quality[i]),
            places[i] in lateness,
        )
        for i in range(count)
    ]


def next_number(connection: Connection) -> int:
    """The arrival number after the last one journaled."""
    last = connection.execute(
        select(tables.journal.c.first_number, tables.journal.c.payload)
        .order_by(tables.journal.c.first_number.desc())
        .limit(2)
    ).all()
    return max((first + unpack(payload)[-1][0] + 1 for first, payload in last), default=0)


def replay(connection: Connection, from_us: int, to_us: int) -> Iterator[Reading]:
    """Readings with source time in [from, to), in order of arrival, blocks read one commit at a time."""
    table = tables.journal
    rows = connection.execute(
        select(table.c.first_number, table.c.payload)
        .where(table.c.to_us >= from_us, table.c.from_us < to_us)
        .order_by(table.c.first_number)
        .execution_options(yield_per=100)
    )
    waiting: list[tuple[int, Reading]] = []
    present: int | None = None
    for first, payload in rows:
        if first != present:
            yield from _in_span(waiting, from_us, to_us)
            waiting, present = [], first
        waiting = list(heapq.merge(waiting, [(n, r) for n, r, _ in unpack(payload)], key=lambda item: item[0]))
    yield from _in_span(waiting, from_us, to_us)


def _in_span(numbered: list[tuple[int, Reading]], from_us: int, to_us: int) -> Iterator[Reading]:
    return (reading for _, reading in numbered if from_us <= reading.source_us < to_us)


def size(connection: Connection) -> int:
    """How many readings are kept."""
    return int(connection.execute(select(func.coalesce(func.sum(tables.journal.c.readings), 0))).scalar_one())
