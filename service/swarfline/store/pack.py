"""Readings as bytes and back.

Columns: machine and signal as indexes into the block's own names, times as 64-bit integers, values as JSON, the
places as 32-bit integers, all deflated. JSON keeps true, 1 and 1.0 apart, integers of any size, and NaN.
"""

from __future__ import annotations

import json
import struct
import zlib
from array import array
from collections.abc import Iterable, Sequence
from operator import itemgetter
from typing import Any

from swarfline.signals import Reading
from swarfline.store.engine import StoreError

_HEAD = struct.Struct("<II")
_LEVEL = 1
_NARROW = 1 << 16
_COLUMNS = tuple(map(itemgetter, range(len(Reading._fields))))
_encode = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False).encode


def pack(readings: Sequence[Reading], places: Sequence[int], late: Sequence[int]) -> bytes:
    """Readings as one block; ``places`` are their arrival numbers relative to the commit's first,
    ``late`` those of readings that came too late, of this block or another.

    Raises StoreError, naming the reading, for a time beyond 64 bit, a quality beyond 8 or a value that is none.
    """
    machines, signals, source, received, values, quality = (list(map(column, readings)) for column in _COLUMNS)
    machine_index, signal_index = _index(machines), _index(signals)
    try:
        # half a surrogate pair is no text, but a machine may send it
        head = _encode([list(machine_index), list(signal_index), values, [*late]]).encode("utf-8", "surrogatepass")
        columns = (
            array(_code(machine_index), map(machine_index.__getitem__, machines)),
            array(_code(signal_index), map(signal_index.__getitem__, signals)),
            array("q", source),
            array("q", received),
            array("I", places),
            array("B", quality),
        )
    except (OverflowError, TypeError, ValueError) as problem:
        raise StoreError(_complaint(readings, problem)) from problem
    body = b"".join((_HEAD.pack(len(head), len(readings)), head, *(column.tobytes() for column in columns)))
    return zlib.compress(body, _LEVEL)


def _index(names: Iterable[str]) -> dict[str, int]:
    return {name: place for place, name in enumerate(dict.fromkeys(names))}


def _code(names: Sequence[str] | dict[str, int]) -> str:
    """The kind of integer that counts so many names."""
    return "H" if len(names) <= _NARROW else "I"


def _complaint(readings: Sequence[Reading], problem: Exception) -> str:
    for reading in readings:
        try:
            array("q", (reading.source_us, reading.received_us))
            array("B", (reading.quality,))
            _encode(reading.value)
        except (OverflowError, TypeError, ValueError) as own:
            return f"the journal cannot hold {_told(reading):.300}: {own}"
    return f"the journal cannot hold these readings: {problem}"


def _told(reading: Reading) -> str:
    try:
        return repr(reading)
    except ValueError:
        # a number of thousands of digits cannot be written out
        return f"a reading of {reading.machine!r}, signal {reading.signal!r}"


def unpack(payload: bytes) -> list[tuple[int, Reading, bool]]:
    """(place, reading, late) of one block, in order of arrival."""
    data = zlib.decompress(payload)
    head_length, count = _HEAD.unpack_from(data)
    offset = _HEAD.size + head_length
    machines, signals, values, late = json.loads(data[_HEAD.size : offset])
    columns: list[array[Any]] = []
    for code in (_code(machines), _code(signals), *"qqIB"):
        column = array(code)
        end = offset + column.itemsize * count
        column.frombytes(data[offset:end])
        columns.append(column)
        offset = end
    machine_at, signal_at, source, received, places, quality = columns
    told = zip(
        map(machines.__getitem__, machine_at),
        map(signals.__getitem__, signal_at),
        source, received, values, quality, strict=True,
    )  # fmt: skip
    lateness = set(late)
    return [
        (place, reading, place in lateness)
        for place, reading in zip(places, map(Reading._make, told), strict=True)
    ]
